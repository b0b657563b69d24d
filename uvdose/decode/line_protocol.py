"""Line protocol: `measurement,tag=value field=value,field=value timestamp`, one point a line.

Behind a backslash a comma, a blank and an equals sign belong to the name; text stands in double quotes. Numbers end in
`i` (whole) or `u` (whole, never negative) or are decimal; `t`, `true` and the like are no numbers. A line that begins
with `#` says nothing. The form is that of the public specification of line protocol for time series.
"""

from __future__ import annotations

import re

import msgspec

from ..model import Decoded, MomentReading
from .format import Format, Line, Shape, Wanted
from .scalars import Unreadable, clean_text, means_nothing, number

_NAME = r"(?:\\.|[^\\ ,=])+"
_TEXT = r'"(?:\\.|[^"\\])*"'
_HEAD = re.compile(rf"((?:\\.|[^\\ ,])+)((?:,{_NAME}={_NAME})*)")
_TAG = re.compile(rf",({_NAME})=({_NAME})")
_FIELD = re.compile(rf'({_NAME})=({_TEXT}|[^\\ ,="]+)(,|$)')
_LINE = re.compile(rf"({_HEAD.pattern}) +((?:{_TEXT}|\\.|[^ \"\\])+)(?: +(-?[0-9]+))?")
_ESCAPED = re.compile(r"\\([ ,=\\])")
_WHOLE = re.compile(r"[+-]?[0-9]+[iu]")
_BOOLEAN = frozenset(("t", "f", "true", "false"))

# Seconds, milliseconds, microseconds and nanoseconds since 1970 have 10, 13, 16 and 19 digits from 2001 to 2286, so
# that their number tells them apart. Other numbers come from a clock that was never set: the line counts at arrival.
_PER_S = {10: 1.0, 13: 1e3, 16: 1e6, 19: 1e9}


class Point(msgspec.Struct, frozen=True):
    """One line. fields: what stands behind each name, as written. time_s: since 1970 UTC, None where it sends none."""

    measurement: str
    tags: dict[str, str]
    fields: dict[str, str]
    time_s: float | None
    stamped: bool


def parse_point(text: str) -> Point:
    """A line, blanks at its ends taken off. Raises `Unreadable`."""
    found = _LINE.fullmatch(text)
    if found is None:
        raise Unreadable("not line protocol")
    fields: dict[str, str] = {}
    rest, at = found[4], 0
    while at < len(rest):
        field = _FIELD.match(rest, at)
        if field is None or (field[3] and field.end() == len(rest)):
            raise Unreadable("not line protocol")
        name = _plain(field[1])
        if name in fields:
            raise Unreadable("field there twice")
        fields[name] = field[2]
        at = field.end()
    tags = {_plain(k): _plain(v) for k, v in _TAG.findall(found[3])}
    return Point(_plain(found[2]), tags, fields, _time_s(found[5]), found[5] is not None)


def value_of(raw: str) -> float:
    """The number behind a field's name. Raises `Unreadable` for text, true and false."""
    if raw.startswith('"') or raw.casefold() in _BOOLEAN:
        raise Unreadable("not a number")
    if not _WHOLE.fullmatch(raw):
        return number(raw)
    if raw[0] == "-" and raw[-1] == "u":
        raise Unreadable("not a number")
    return number(raw[:-1])


def _plain(name: str) -> str:
    return _ESCAPED.sub(r"\1", name)


def _time_s(digits: str | None) -> float | None:
    per_s = _PER_S.get(len(digits)) if digits is not None else None
    return int(digits) / per_s if digits is not None and per_s is not None else None


class LineProtocolReader:
    """Reads one line to one reading.

    field: a field's name, or what stands before it too, as the line has it: `uv`, `weather uv`, `weather,site=a uv`;
    tags that are not named may be anything. Without it the line must hold exactly one number.
    Raises ValueError for a field that cannot be one.
    """

    def __init__(self, field: str | None) -> None:
        self._field: str | None = None
        self._measurement: str | None = None
        self._tags: dict[str, str] = {}
        if field is not None:
            self._take(field)

    def _take(self, field: str) -> None:
        found = re.fullmatch(rf"(?:{_HEAD.pattern} +)?((?:\\.|[^\\ ,=])+)", field)
        if found is None:
            raise ValueError('in line protocol a field is written as "uv" or "weather,site=a uv"')
        self._field = _plain(found[3])
        if found[1] is not None:
            self._measurement = _plain(found[1])
            self._tags = {_plain(k): _plain(v) for k, v in _TAG.findall(found[2])}

    def __call__(self, line: bytes) -> list[Decoded]:
        text = clean_text(line)
        if text.startswith("#"):
            return []
        point = parse_point(text)
        return [MomentReading(value_of(self._pick(point)), point.time_s)]

    def _pick(self, point: Point) -> str:
        if self._field is None:
            numbers = [raw for raw in point.fields.values() if _is_number(raw)]
            if len(numbers) != 1 and len(point.fields) != 1:
                raise Unreadable("several fields; set field to one" if numbers else "no numbers")
            return (numbers or list(point.fields.values()))[0]
        here = self._measurement in (None, point.measurement) and self._tags.items() <= point.tags.items()
        if not here or self._field not in point.fields:
            raise Unreadable("field not here")
        return point.fields[self._field]


def _is_number(raw: str) -> bool:
    try:
        value_of(raw)
    except Unreadable:
        return False
    return True


def _shape(line: Line) -> Shape | None:
    """Sure with tags or a time; without them it may be a label with more words before it."""
    try:
        point = parse_point(line.text or "")
    except Unreadable:
        return None
    fields: dict[str, float | None] = {}
    for name, raw in point.fields.items():
        name = re.sub(r"([ ,=])", r"\\\1", name)
        try:
            fields[name] = value_of(raw)
        except Unreadable:
            if means_nothing(raw) and raw.casefold() not in _BOOLEAN:
                fields[name] = None
    sure = bool(point.tags) or point.stamped
    return Shape("line-protocol", fields, stamped=point.stamped, sure=sure) if fields else None


def _reader(wanted: Wanted) -> LineProtocolReader:
    return LineProtocolReader(wanted.field)


LINE_PROTOCOL = Format(
    name="line-protocol",
    about="line protocol: `measurement,tag=value field=value timestamp`",
    field='a field\'s name, or what stands before it too, such as "weather,site=a uv"',
    example="weather,site=a uv=3.2 1465839830100400200",
    reader=_reader,
    shape=_shape,
)
