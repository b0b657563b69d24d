"""Lines of text out of a file that anybody may have made, each of bounded length; what is no text is refused."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import BinaryIO

from ..model import Refusal

MOST_LINE = 64 * 1024
DELIMITERS = ",;\t"

# What a file begins with that is no plain text, and what to do about it.
_MARKS = (
    (b"\x1f\x8b", "is compressed: unpack it first (gunzip)"),
    (b"PK\x03\x04", "is a spreadsheet or an archive: save it as CSV"),
    (b"PAR1", "is Parquet: write it as CSV"),
    (b"\xff\xfe", "is UTF-16: save it as UTF-8"),
    (b"\xfe\xff", "is UTF-16: save it as UTF-8"),
)
_BOM = b"\xef\xbb\xbf"


def text_lines(handle: BinaryIO) -> Iterator[str]:
    """The lines of a file, UTF-8, a byte order mark left out. Raises `Refusal`."""
    number = 0
    while raw := handle.readline(MOST_LINE + 1):
        number += 1
        if number == 1:
            if found := next((words for mark, words in _MARKS if raw.startswith(mark)), None):
                raise Refusal(f"the file {found}")
            raw = raw.removeprefix(_BOM)
        if len(raw) > MOST_LINE:
            raise Refusal(f"line {number} is longer than {MOST_LINE} bytes: this is no table of readings")
        if b"\0" in raw:
            raise Refusal(f"line {number} holds a NUL byte: this is no text; save it as CSV in UTF-8")
        try:
            yield raw.decode()
        except UnicodeDecodeError:
            raise Refusal(f"line {number} is no UTF-8: save the file as CSV in UTF-8") from None


class Table:
    """A CSV table (RFC 4180; also with semicolons or tabs). Its first line names the columns."""

    def __init__(self, handle: BinaryIO) -> None:
        lines = text_lines(handle)
        head = next(lines, "")
        if not head.strip():
            raise Refusal("the file is empty" if not head else "the first line is empty: it must name the columns")
        self.delimiter = max(DELIMITERS, key=head.count)
        self._rows = csv.reader(_chained(head, lines), delimiter=self.delimiter, strict=True)
        self.names = [name.strip() for name in self._next() or []]
        if all(_is_figure(name) for name in self.names):
            raise Refusal("the file has no header: its first line must name the columns, such as time,uva")

    @property
    def line(self) -> int:
        """The number of the line that was read last."""
        return self._rows.line_num

    def rows(self) -> Iterator[list[str]]:
        """Rows that hold anything. Raises `Refusal`."""
        while (row := self._next()) is not None:
            if row and any(row):
                yield row

    def _next(self) -> list[str] | None:
        try:
            return next(self._rows, None)
        except csv.Error as err:
            raise Refusal(f"line {self._rows.line_num} is no CSV: {err}") from None

    def column(self, wanted: str) -> int:
        """Where a column lies, by its name, with or without a unit in brackets. Raises `Refusal` (code 2)."""
        exact = [i for i, name in enumerate(self.names) if name == wanted]
        found = exact or [i for i, name in enumerate(self.names) if bare(name) == wanted]
        if len(found) != 1:
            why = "is there several times" if found else "is not in the file"
            raise Refusal(f"column {wanted!r} {why}; it has {self.listed}", 2)
        return found[0]

    @property
    def listed(self) -> str:
        """The names of the columns for a message."""
        shown = ", ".join(name or "(none)" for name in self.names[:12])
        return (shown if len(shown) <= 200 else f"{shown[:200]}…") + (", …" if len(self.names) > 12 else "")


def bare(name: str) -> str:
    """A column's name without its unit: `uva [W/m2]` and `uva (W/m2)` are uva."""
    return name.split("[")[0].split("(")[0].strip() or name


def _chained(head: str, lines: Iterator[str]) -> Iterator[str]:
    yield head
    yield from lines


def _is_figure(text: str) -> bool:
    return text[:1].isdigit() or text[:1] in ("-", "+", ".") or not text
