"""Sentences of NMEA 0183 that carry a transducer's values: `$WIXDR,C,21.5,C,AIR,G,3.20,,UV*49`.

`XDR` holds four cells for each transducer: type, value, unit, name. The checksum is the exclusive or of all bytes
between `$` and `*`, as two hex digits; a sentence without one is refused, and all other sorts say nothing here. Source:
"NMEA Revealed" (E. S. Raymond, in gpsd's documents), "XDR - Transducer Measurement", "NMEA Encoding Conventions".
"""

from __future__ import annotations

import re

import msgspec

from ..model import Decoded, MomentReading
from .format import Format, Line, Shape, Wanted
from .forms import Reader
from .scalars import Unreadable, clean_text, means_nothing, number

_SENTENCE = re.compile(r"[$!]([A-Z0-9]{1,10})((?:,[^*$!]*)?)\*([0-9A-Fa-f]{2})")
_CELLS = 4


class Transducer(msgspec.Struct, frozen=True):
    """value: as it was written, which may be nothing. unit: such as V or P (per cent), mostly empty for a light."""

    value: str
    unit: str


def transducers(text: str) -> dict[str, Transducer]:
    """The transducers of a sentence by name, else by type where they have none; empty for another sort of sentence.

    Raises `Unreadable` for what is no sentence, a wrong checksum and a sentence that lacks cells.
    """
    found = _SENTENCE.fullmatch(text)
    if found is None:
        raise Unreadable("not a sentence of NMEA 0183 with its checksum")
    told = 0
    for byte in text[1:-3].encode():
        told ^= byte
    if told != int(found[3], 16):
        raise Unreadable("checksum")
    if not found[1].endswith("XDR"):
        return {}
    cells = found[2].split(",")[1:]
    if not cells or len(cells) % _CELLS:
        raise Unreadable("XDR: cells are missing")
    out: dict[str, Transducer] = {}
    for at in range(0, len(cells), _CELLS):
        sort, value, unit, name = cells[at : at + _CELLS]
        if (name or sort) in out:
            raise Unreadable("transducer there twice")
        out[name or sort] = Transducer(value, unit)
    return out


def _reader(wanted: Wanted) -> Reader:
    """Reads an `XDR` to one reading, other sorts to none. Without `field` it must hold one transducer."""

    def read(line: bytes) -> list[Decoded]:
        held = transducers(clean_text(line))
        if not held:
            return []
        if wanted.field is None and len(held) > 1:
            raise Unreadable("several transducers; set field to one")
        name = next(iter(held)) if wanted.field is None else wanted.field
        if name not in held:
            raise Unreadable("field not here")
        return [MomentReading(number(held[name].value))]

    return read


def _shape(line: Line) -> Shape | None:
    fields: dict[str, float | None] = {}
    units: dict[str, str] = {}
    try:
        held = transducers(line.text or "")
    except Unreadable:
        return None
    for name, told in held.items():
        try:
            fields[name] = number(told.value)
        except Unreadable:
            if not told.value or means_nothing(told.value):
                fields[name] = None
        if told.unit:
            units[name] = told.unit
    why = "" if held else "these are sentences of a satellite receiver or the like, without a transducer's (XDR)"
    return Shape("nmea", fields, units, why=why)


NMEA = Format(
    name="nmea",
    about="sentences of NMEA 0183 with a transducer's values (XDR) and their checksum",
    field="the transducer's name",
    example="$WIXDR,C,21.5,C,AIR,G,3.20,,UV*49",
    reader=_reader,
    shape=_shape,
    proven=True,
)
