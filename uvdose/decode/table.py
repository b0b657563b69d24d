"""Rows of values: CSV with or without a header line, plotter style (`a:0.12, b:0.98,`), tuples (`(1.2, 3.4)`).

Cells are parted by `;`, else by `,`, else by tabs, else by blanks; where the decimal mark is a comma, a comma does
not part cells unless a blank follows it. A column is a number from 1, or a name out of the header or the row.
"""

from __future__ import annotations

import csv
import re

from ..model import Decoded, MomentReading
from .format import Format, Line, Shape, Wanted
from .scalars import Unreadable, clean_text, means_nothing, number, running_number, time_s
from .text import label_key, same_label

_TUPLE = re.compile(r"[(\[]([^()\[\]]*)[)\]]\s*[,;]?")
_NAMED_CELL = re.compile(r"\s*([^\W\d][^:=]*)[:=]\s*(.*)")
_AFTER_COLON = re.compile(r"([:=])\s+")


def split_row(text: str, comma: bool) -> tuple[list[str], str]:
    """The cells of a row, blanks and quotes taken off, and what parted them (a blank where nothing else did).

    A separator at the end of the row leaves an empty last cell.
    """
    inside = _TUPLE.fullmatch(text)
    if inside:
        text = inside[1].strip()
    if text.count(";") == 1 and text.endswith(";"):
        text = text[:-1]
    separator = next((s for s in (";\t" if comma else ";,\t") if s in text), " ")
    if separator == " ":
        cells = [cell.rstrip(",") for cell in _AFTER_COLON.sub(r"\1", text).split()]
    elif '"' in text:
        try:
            cells = next(csv.reader([text], delimiter=separator, skipinitialspace=True))
        except (csv.Error, StopIteration):
            raise Unreadable("not a row") from None
    else:
        cells = text.split(separator)
    return [cell.strip().strip('"') for cell in cells], separator


class TableReader:
    """Reads rows. It remembers the last header that names every column wanted, also one in mid-stream.

    field, time_field, seq_field: a column each. Without `field` a row must have exactly one column. A row whose
    width is not the header's is refused: cells were lost, or the header was cut. A header that lacks a wanted
    column is bad input and changes nothing (it is hard to tell from the chatter of a board).
    """

    def __init__(self, field: str | None, time_field: str | None, seq_field: str | None, comma: bool) -> None:
        self._wanted = [None if c is None else _column(c) for c in (field, time_field, seq_field)]
        self._named = any(isinstance(c, str) for c in self._wanted)
        self._comma = comma
        self._header: list[str] | None = None

    def __call__(self, line: bytes) -> list[Decoded]:
        cells, separator = split_row(clean_text(line), self._comma)
        named = [_NAMED_CELL.fullmatch(cell) for cell in cells if cell]
        names: list[str] | None
        if named and all(named):
            names, cells = [m[1] for m in named if m], [m[2] for m in named if m]
        elif any(cells) and all(_is_word(cell) for cell in cells if cell):
            self._take_header(cells, separator)
            return []
        else:
            names = self._header
            cells = self._fit(cells, names)
        return [self._reading(cells, names)]

    def _take_header(self, cells: list[str], separator: str) -> None:
        if not cells[-1]:
            cells = cells[:-1]
        if not self._named:
            if separator == " ":
                raise Unreadable("no numbers")
            return
        for column in self._wanted:
            if isinstance(column, str):
                _find(column, cells)
        self._header = cells

    def _fit(self, cells: list[str], header: list[str] | None) -> list[str]:
        if len(cells) > 1 and not cells[-1] and (header is None or len(cells) == len(header) + 1):
            cells = cells[:-1]  # a separator at the end
        if self._named and header is not None and len(cells) != len(header):
            raise Unreadable("row and header differ in width")
        return cells

    def _reading(self, cells: list[str], names: list[str] | None) -> MomentReading:
        field, time_field, seq_field = self._wanted
        if field is None and len([c for c in cells if c]) != 1:
            raise Unreadable("several columns; set field to one")
        value = number(_cell(0 if field is None else field, cells, names), self._comma)
        return MomentReading(
            value,
            None if time_field is None else time_s(_cell(time_field, cells, names), self._comma),
            None if seq_field is None else running_number(_cell(seq_field, cells, names)),
        )


def _column(text: str) -> int | str:
    """A column as an index from 0 or as a name to compare. Raises ValueError for number 0 and an empty name."""
    text = text.strip()
    if text.isascii() and text.isdigit():
        if int(text) < 1:
            raise ValueError("columns are counted from 1")
        return int(text) - 1
    if not text:
        raise ValueError("a column needs a name or a number from 1")
    return label_key(text)


def _cell(column: int | str, cells: list[str], names: list[str] | None) -> str:
    if isinstance(column, str):
        if names is None:
            raise Unreadable("no header yet")
        column = _find(column, names)
    if column >= len(cells):
        raise Unreadable("row too short")
    return cells[column]


def _find(name: str, names: list[str]) -> int:
    hits = [i for i, found in enumerate(names) if label_key(found) == name]
    hits = hits or [i for i, found in enumerate(names) if same_label(found, name)]
    if len(hits) != 1:
        raise Unreadable("column not here" if not hits else "column there twice")
    return hits[0]


def _is_word(cell: str) -> bool:
    """A cell that can only be a column's name: it begins with a letter and is no stand-in for a value."""
    return (cell[0].isalpha() or cell[0] == "_") and not means_nothing(cell)


def _shape(line: Line) -> Shape | None:
    """A row or a header. Never sure: a row of anything may be read as columns, so that all others are asked first."""
    try:
        cells, separator = split_row(line.text or "", line.comma)
    except Unreadable:
        return None
    if cells and not cells[-1]:
        cells = cells[:-1]
    if not cells or any(_NAMED_CELL.fullmatch(cell) for cell in cells):
        return None
    if all(cell and _is_word(cell) for cell in cells):
        if separator == " ":
            return None  # chatter: no header that a table reader would take
        return Shape("csv", {}, header=True, sure=False)
    header = line.header
    names = header if header is not None and len(header) == len(cells) else [str(i) for i in range(1, len(cells) + 1)]
    fields: dict[str, float | None] = {}
    for name, cell in zip(names, cells, strict=True):
        try:
            fields[name] = None if means_nothing(cell) else number(cell, line.comma)
        except Unreadable:
            continue
    # Half of it must be numbers, else it is a sentence with a number in it.
    return Shape("csv", fields, sure=False) if len(fields) * 2 > len(cells) else None


def _reader(wanted: Wanted) -> TableReader:
    return TableReader(wanted.field, wanted.time_field, wanted.seq_field, wanted.comma)


CSV = Format(
    name="csv",
    about="rows: CSV with or without a header, plotter style, tuples",
    field="a column, by name or by number from 1",
    example="21.5;3.42;17",
    reader=_reader,
    shape=_shape,
    times=True,
)
