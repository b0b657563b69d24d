"""Cutting a byte stream into lines of bounded length, and telling what could not be read.

Only LF ends a line; one CR just before it belongs to the ending. What stands inside a line (NUL bytes, colour
codes, rubbish from a board that starts up) is for the reader of the line to tolerate or to refuse.
"""

from __future__ import annotations

from ..model import BadInput

MAX_LINE = 4096
"""Longest line in bytes, LF not counted. Every line longer than this is overlong."""

EXCERPT = 80
"""Longest excerpt in a `BadInput`, in characters."""


class LineBuffer:
    """Lines out of bytes that were cut anywhere. How they were cut never changes what comes out.

    It holds at most `MAX_LINE` bytes between calls. A line that grows longer is given out once, at the moment
    when it is too long, as its first `MAX_LINE + 1` bytes (so its length tells, see `is_overlong`); the rest of
    it, up to the next LF, is dropped.
    """

    __slots__ = ("_dropping", "_rest")

    def __init__(self) -> None:
        self._rest = b""
        self._dropping = False

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that became whole with `data`, in order, without their endings."""
        if self._dropping:
            end = data.find(b"\n")
            if end < 0:
                return []
            data = data[end + 1 :]
            self._dropping = False
        if self._rest:
            data = self._rest + data
        lines = data.split(b"\n")
        rest = lines.pop()
        if len(data) > MAX_LINE:  # else no line in it can be too long
            lines = [line if len(line) <= MAX_LINE else line[: MAX_LINE + 1] for line in lines]
            if len(rest) > MAX_LINE:
                lines.append(rest[: MAX_LINE + 1])
                rest = b""
                self._dropping = True
        self._rest = rest
        if b"\r" in data:
            # An overlong head keeps its last byte even where that is a CR: its length is what marks it.
            lines = [line[:-1] if line[-1:] == b"\r" and len(line) <= MAX_LINE else line for line in lines]
        return lines

    @property
    def held(self) -> int:
        """Bytes of the unfinished line that are kept; never above `MAX_LINE`."""
        return len(self._rest)


def whole_lines(data: bytes) -> list[bytes]:
    """The lines of one whole message, with or without a last newline; cut exactly as a stream would be."""
    if len(data) <= MAX_LINE and data.find(b"\n", 0, -1) < 0:  # one, as nearly always: no buffer for it
        line = data[:-1] if data.endswith(b"\n") else data
        return [line[:-1] if line.endswith(b"\r") else line]
    buffer = LineBuffer()
    return buffer.feed(data) if data.endswith(b"\n") else buffer.feed(data + b"\n")


def is_overlong(line: bytes) -> bool:
    """Whether a line from `LineBuffer` is only the head of one that was too long."""
    return len(line) > MAX_LINE


def excerpt(data: bytes) -> str:
    """At most `EXCERPT` printable characters of what came; what cannot be printed is escaped, such as `\\x00`."""
    # A character of UTF-8 takes at most 4 bytes, so the slice is always long enough.
    return visible(data[: 4 * EXCERPT].decode("utf-8", "backslashreplace")[:EXCERPT])[:EXCERPT]


def visible(text: str) -> str:
    """One line that a terminal shows as it stands: what cannot be printed, or would steer it, is escaped."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def bad(reason: str, data: bytes) -> BadInput:
    """A `BadInput` for these bytes."""
    return BadInput(reason, excerpt(data))
