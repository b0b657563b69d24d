"""What a stream of unknown input is: its form, the number that is the light, and what to set; or why it is not sure.

For a person who looks for sensors, with all that came in some seconds before it. `auto` decides line by line. Pure.
"""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Sequence

import msgspec

from ..settings_words import INDEX_WORDS
from ..units import IRRADIANCE_UNITS, plain_unit
from .choice import Choice, choose
from .format import ONLY, Shape
from .formats import PROVEN
from .lines import excerpt
from .naming import Says
from .scalars import Unreadable, clean_text
from .shape import shape_of
from .table import split_row

LEAST_LINES = 3
LEAST_SHARE = 0.2
CLEAN_SHARE = 0.8
_UNIT = re.compile(r"(?:[mu\u00b5\u03bc]?W/(?:cm|m)\^?[2\u00b2])", re.IGNORECASE)
_VOLTS = re.compile(r"\(V\)|volt(?:s|age)?\b", re.IGNORECASE)
_MILLIVOLTS = re.compile(r"mV\b|millivolt", re.IGNORECASE)
_WHO = re.compile(r"ok who (\S+) (\S+) (\S+) (\S+) (\S+) (\S+)")


class Heard(msgspec.Struct, frozen=True):
    """One line or one message, and when it came (seconds, any origin)."""

    at_s: float
    data: bytes


class Finding(msgspec.Struct, frozen=True):
    """What was recognised. form None: not sure, and `why` says it; the other values are then empty.

    every_s: usual pause between readings, None where fewer than two came. notes: what a person should know of it.
    example: a line that came. name: what the node calls itself. part: what it calls its sensor. lines, read: how many
    came, and had the value.
    """

    form: str | None
    why: str = ""
    field: str | None = None
    decimal_comma: bool = False
    unit: str = "counts"
    full_scale: float | None = None
    zero: float | None = None
    value: float | None = None
    every_s: float | None = None
    lines: int = 0
    read: int = 0
    example: str = ""
    name: str | None = None
    part: str | None = None
    says_uv: bool = False
    notes: tuple[str, ...] = ()


def is_clean(lines: Sequence[bytes]) -> bool:
    """Whether these are lines of text, as they come at the right speed; rubbish of a wrong one is mostly no text."""
    told = [line for line in lines if line.strip()]
    return bool(told) and sum(map(_is_text, told)) >= CLEAN_SHARE * len(told)


def _is_text(line: bytes) -> bool:
    try:
        return "\ufffd" not in clean_text(line)
    except Unreadable:
        return False


def recognise(heard: Sequence[Heard], context: str = "", who: str = "", least: int = LEAST_LINES) -> Finding:
    """What this is. context: the topic; who: a node's answer to `who`; least: how many lines must agree.

    The first line of a stream that may have begun inside a line must not be among them.
    """
    came = [h for h in heard if h.data.strip()]
    if not came:
        return _unsure("nothing came", came)
    comma = _decimal_comma(came)
    shapes = _shapes(came, comma)
    forms = Counter(s.form for s in shapes if s is not None and s.fields)
    if not forms:
        whys = [shape.why for shape in shapes if shape is not None and shape.why]
        if len(whys) * 2 > len(came):
            return _unsure(whys[0], came)
        return _unsure("no numbers in a form that is known" if is_clean([h.data for h in came]) else _NOISE, came)
    form = "native" if "native" in forms else forms.most_common(1)[0][0]
    hits = [(h, s) for h, s in zip(came, shapes, strict=True) if s is not None and s.form == form]
    alike = [s for _, s in hits]
    enough = 1 if form in PROVEN else least
    if len(hits) < enough or len(hits) < LEAST_SHARE * len(came):
        return _unsure(f"only {len(hits)} of {len(came)} lines look like {form}", came)
    if form == "native":
        return _native(hits, came, who)
    choice = choose(alike, None, context)
    if choice.name is None:
        return _unsure(choice.why + _comma_too(alike), came, choice.kind is not Says.NOTHING)
    values = [(h.at_s, v) for h, s in hits if (v := s.fields.get(choice.name)) is not None]
    if not values:
        return _unsure("its value is not there now (nan or the like): look at the sensor's wires", came)
    if choice.kind is Says.NOTHING and _only_counts([v for _, v in values]):
        return _unsure("the number only counts up, as a clock does", came)
    return _found(form, choice, comma, hits, values, came)


_NOISE = "no text: noise, or another speed"


def _found(
    form: str, choice: Choice, comma: bool, hits: list[tuple[Heard, Shape]], values: list[tuple[float, float]],
    came: list[Heard],
) -> Finding:
    name = choice.name or ""
    unit, notes = _unit_of(name, next((s.units[name] for _, s in hits if name in s.units), ""))
    if choice.kind is Says.INDEX:
        unit = "counts"
        notes.insert(0, INDEX_WORDS)
    if choice.kind is Says.SHORT_WAVE:
        notes.append("this is short-wave UV, which a print hardly follows")
    if comma:
        notes.append("numbers are read with a decimal comma")
    if choice.kind is Says.NOTHING:
        notes.append("nothing says that this is UV: cover the sensor, and see that the value falls")
    return Finding(
        form, field=None if name == ONLY else name, decimal_comma=comma, unit=unit, value=values[-1][1],
        every_s=_usual([at for at, _ in values]), lines=len(came), read=len(values),
        example=_example(next(h for h, s in reversed(hits) if s.fields.get(name) is not None)),
        says_uv=choice.kind is not Says.NOTHING, notes=tuple(notes),
    )


def _native(hits: list[tuple[Heard, Shape]], came: list[Heard], who: str) -> Finding:
    told = _WHO.fullmatch(who)
    read = [(h, s.fields[ONLY]) for h, s in hits if s.fields[ONLY] is not None]
    full, zero = (_number(told[5]), _number(told[6])) if told else (None, None)
    notes = [
        f"the node calls itself {told[1]}: sensor {told[3]}, gain {told[4]}, full scale {told[5]}, zero {told[6]},"
        f" firmware {told[2]}" if told else "the node did not say who it is"
    ]
    return Finding(
        "native", full_scale=full, zero=zero, value=read[-1][1] if read else None,
        every_s=_usual([h.at_s for h, _ in read]), lines=len(came), read=len(read),
        example=_example((read[-1] if read else hits[-1])[0]), name=told[1] if told else None,
        part=told[3] if told else None, says_uv=True, notes=tuple(notes),
    )


def _unsure(why: str, came: Sequence[Heard], says_uv: bool = False) -> Finding:
    example = _example(came[len(came) // 2]) if came else ""
    return Finding(None, why, lines=len(came), example=example, says_uv=says_uv)


def _example(heard: Heard) -> str:
    return excerpt(heard.data.strip())


def _shapes(came: Sequence[Heard], comma: bool) -> list[Shape | None]:
    header: list[str] | None = None
    out: list[Shape | None] = []
    for one in came:
        shape = shape_of(one.data, comma, header)
        if shape is not None and shape.header:
            try:
                header = [cell for cell in split_row(clean_text(one.data), comma)[0] if cell]
            except Unreadable:
                header = None
        out.append(shape)
    return out


def _decimal_comma(came: Sequence[Heard]) -> bool:
    """Whether the decimal mark must be a comma: more lines are read so, or all are numbers instead of some."""
    point = [s for s in _shapes(came, False) if s is not None and s.fields]
    comma = [s for s in _shapes(came, True) if s is not None and s.fields]
    if not any(re.search(rb"[0-9],[0-9]", h.data) for h in came):
        return False
    forms = {s.form for s in point}
    return len(comma) > len(point) or (len(forms) > 1 and "csv" in forms and {s.form for s in comma} == {"number"})


def _comma_too(shapes: Sequence[Shape]) -> str:
    if all(s.form == "csv" and list(s.fields) == ["1", "2"] for s in shapes):
        return '; or, if it is one number with a decimal comma, format = "number" and decimal_comma = true'
    return ""


def _only_counts(values: Sequence[float]) -> bool:
    """Whether the values rise by equal steps, as a clock and a counter do; either may begin anew in between."""
    steps = sorted(b - a for a, b in itertools.pairwise(values))
    if len(steps) < LEAST_LINES:
        return False
    usual = steps[len(steps) // 2]
    return usual > 0 and sum(abs(s - usual) <= 0.2 * usual for s in steps) >= CLEAN_SHARE * len(steps)


def _unit_of(name: str, told: str) -> tuple[str, list[str]]:
    """The unit that a name or the input itself states, else counts; and what to know of it."""
    for text in (told, name):
        found = _UNIT.search(text)
        if found:
            unit = plain_unit(found[0]).replace("w/", "W/").replace("MW", "mW")
            if unit in IRRADIANCE_UNITS:
                return unit, [f"it calls its unit {found[0]}: as its maker scaled it; a calibration print says more"]
        if _MILLIVOLTS.search(text):
            return "counts", ["the value is in millivolts, and is added up as it stands, as counts"]
        if text == "V" or _VOLTS.search(text):
            return "V", []
    return "counts", []


def _usual(times_s: Sequence[float]) -> float | None:
    pauses = sorted(b - a for a, b in itertools.pairwise(times_s))
    return pauses[len(pauses) // 2] if pauses else None


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if abs(value) < 1e12 else None
