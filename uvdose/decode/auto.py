"""`format = "auto"`: what the input is, decided once enough lines agree, and kept until nothing fits any more.

The lines up to the decision give no readings: they would all be placed at its moment. A form that proves itself (by a
checksum, or as a SenML pack does) is decided by its first line. Where it is not sure, what comes is bad input with the
reason.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from ..model import BadInput, Chosen, Decoded
from ..settings_words import INDEX_WORDS
from .base import Decoder
from .choice import Choice, choose, note_on
from .format import ONLY, Shape
from .formats import PROVEN
from .lines import LineBuffer, bad, is_overlong, whole_lines
from .naming import Says
from .scalars import VALUELESS, Unreadable, clean_text
from .shape import shape_of
from .table import split_row

AGREE = 3
WINDOW = 12
LOST = 10

Make = Callable[[str, str | None], Decoder]
"""The decoder of a format and a field."""


class AutoDecoder:
    """Looks, decides, and then reads with the decoder that settings of that format would make.

    field: as in the settings, of whatever form comes; of a JSON Pointer the last name will do. irradiance: the unit
    of the settings is one; a UV index is then refused. from_start: the stream begins with a whole line.
    """

    def __init__(self, make: Make, field: str | None, comma: bool, irradiance: bool, from_start: bool) -> None:
        self._make = make
        self._field = field
        self._comma = comma
        self._irradiance = irradiance
        self._partial = not from_start
        self._buffer = LineBuffer()
        self._header: tuple[list[str], bytes] | None = None
        self._seen: deque[Shape] = deque(maxlen=WINDOW)
        self._inner: Decoder | None = None
        self._misfits = 0
        self._noted = False

    def feed(self, data: bytes) -> list[Decoded]:
        """Bytes of a stream, cut anywhere. Never raises."""
        return [item for line in self._buffer.feed(data) for item in self._line(line)]

    def message(self, data: bytes) -> list[Decoded]:
        """One whole message. Never raises."""
        if not data.strip():
            return [bad("empty message", data)]
        self._partial = False
        if data.lstrip()[:1] in (b"{", b"["):
            return self._whole(data)
        return [item for line in whole_lines(data) for item in self._line(line)]

    def _line(self, line: bytes) -> list[Decoded]:
        if is_overlong(line):
            self._partial = False
            return [bad("overlong", line)]
        return self._whole(line) if line.strip() else []

    def _whole(self, data: bytes) -> list[Decoded]:
        if self._inner is None:
            return self._look(data)
        found = self._inner.message(data)
        if all(isinstance(item, BadInput) and item.reason not in VALUELESS for item in found) and found:
            self._misfits += 1
            if self._misfits >= LOST:
                found += self._forget()
        elif found:
            self._misfits = 0
        return found

    def _forget(self) -> list[Decoded]:
        self._inner, self._misfits, self._header = None, 0, None
        self._seen.clear()
        noted, self._noted = self._noted, False
        return [Chosen("")] if noted else []

    def _look(self, data: bytes) -> list[Decoded]:
        shape = shape_of(data, self._comma, None if self._header is None else self._header[0])
        partial, self._partial = self._partial, False
        if shape is None:
            return [bad("no form that is known", data)]
        if shape.header:
            if self._header is not None and not self._seen:
                return [bad("no form that is known", data)]  # one after the other: words, and no rows below them
            self._take_header(data)
            return []
        if partial and shape.form not in PROVEN:
            return []  # it may be the end of a line
        self._seen.append(shape)
        alike = [s for s in self._seen if s.form == shape.form]
        choice = choose(alike, self._field)
        if choice.kind is Says.INDEX and self._irradiance:
            choice = Choice(None, INDEX_WORDS)
        if choice.name is not None and shape.fields.get(choice.name, 0.0) is None and shape.form not in PROVEN:
            self._seen.pop()
            return [bad("not a finite number", data)]
        enough = 1 if shape.form in PROVEN else AGREE
        if choice.name is None:
            return [bad(choice.why, data)] if len(alike) >= enough else []
        if sum(choice.name in s.fields for s in alike) < enough or choice.name not in shape.fields:
            return []
        return self._decide(shape.form, choice, data)

    def _decide(self, form: str, choice: Choice, data: bytes) -> list[Decoded]:
        field = None if form == "native" or choice.name == ONLY else choice.name
        self._inner = self._make(form, field)
        if self._header is not None and form == "csv":
            self._inner.message(self._header[1])
        self._seen.clear()
        note = note_on(choice, form) if self._field is None or form == "native" else ""
        self._noted = bool(note)
        return [*([Chosen(note)] if note else []), *self._inner.message(data)]

    def _take_header(self, line: bytes) -> None:
        try:
            cells, _ = split_row(clean_text(line), self._comma)
        except Unreadable:
            return
        if len(cells) > 1 and not cells[-1]:
            cells = cells[:-1]
        if len(set(cells)) == len(cells):
            self._header = cells, line
