"""The frame around every form without a checksum: lines in, a reader's results out, never an exception."""

from __future__ import annotations

from collections.abc import Callable

from ..model import BadInput, Decoded
from .lines import LineBuffer, bad, is_overlong, whole_lines
from .scalars import Unreadable

Reader = Callable[[bytes], list[Decoded]]
"""One line or one document to readings. May raise `Unreadable`."""


class FormDecoder:
    """A decoder made of a reader of lines or documents.

    In a stream each line is one document. Without a checksum nobody can tell `84.2` from the end of `184.2`, so
    what comes up to the first newline of a stream never becomes a reading, unless `from_start` says that the
    stream begins whole, as a recording does; if it cannot be read it is reported like any other line.
    Empty lines mean nothing; an empty message is bad input.

    by_lines: a message holds lines, as a stream does; False: a message is one document, newlines and all.
    """

    __slots__ = ("_buffer", "_by_lines", "_partial", "_read")

    def __init__(self, read: Reader, *, by_lines: bool, from_start: bool = False) -> None:
        self._read = read
        self._by_lines = by_lines
        self._partial = not from_start
        self._buffer = LineBuffer()

    def feed(self, data: bytes) -> list[Decoded]:
        """Bytes of a stream, cut anywhere. Never raises."""
        out: list[Decoded] = []
        for line in self._buffer.feed(data):
            found = self._line(line)
            if self._partial:
                self._partial = False
                found = [item for item in found if isinstance(item, BadInput)]
            out += found
        return out

    def message(self, data: bytes) -> list[Decoded]:
        """One whole message. Never raises."""
        if not data.strip():
            return [bad("empty message", data)]
        if not self._by_lines:
            return self._whole(data)
        return [item for line in whole_lines(data) for item in self._line(line)]

    def _line(self, line: bytes) -> list[Decoded]:
        if is_overlong(line):
            return [bad("overlong", line)]
        return self._whole(line) if line.strip() else []

    def _whole(self, data: bytes) -> list[Decoded]:
        try:
            return self._read(data)
        except Unreadable as why:
            return [bad(str(why), data)]
