"""Text in a cell of CSV that a spreadsheet must not compute, and back again."""

from __future__ import annotations

FORMULA = ("=", "+", "-", "@", "\t", "\r")
MARK = "'"


def to_cell(text: str) -> str:
    """A text that begins as a formula does gets an apostrophe before it; so does one that is such a text already, so
    that `from_cell` knows them apart."""
    return MARK + text if text.lstrip(MARK).startswith(FORMULA) else text


def from_cell(cell: str) -> str:
    """The inverse of `to_cell`."""
    return cell.removeprefix(MARK) if cell.lstrip(MARK).startswith(FORMULA) else cell
