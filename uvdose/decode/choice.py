"""Which of the numbers that came is the light: chosen only where a name says so, or where there is but one. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from ..settings_words import INDEX_WORDS
from ..units import IRRADIANCE_UNITS, plain_unit
from .format import ONLY, Shape
from .lines import visible
from .naming import Says, says
from .text import same_label

_LIGHT = (Says.UV, Says.INDEX, Says.SHORT_WAVE)
NAMED = 6  # fields named in a line for a person


class Choice(msgspec.Struct, frozen=True):
    """name: of the number chosen, None where none is. why: the reason where none is.

    others: how many more numbers there are. kind: what the name says.
    """

    name: str | None
    why: str = ""
    others: int = 0
    kind: Says = Says.NOTHING


def choose(shapes: Sequence[Shape], field: str | None = None, context: str = "") -> Choice:
    """The number to take out of lines of one form, looking at all of them. context: the topic, which has a name too."""
    names = list(dict.fromkeys(name for shape in shapes for name in shape.fields))
    if not names:
        return Choice(None, next((shape.why for shape in shapes if shape.why), "no number in it"))
    if field is not None:
        return _by_field(names, field)
    units = {name: unit for shape in shapes for name, unit in shape.units.items()}
    kinds = {name: _kind(name, units.get(name), "") for name in names}
    if not any(kind in _LIGHT for kind in kinds.values()):  # the topic speaks for a number only where no name does
        kinds = {name: _kind(name, units.get(name), context) for name in names}
    for wanted in _LIGHT:
        hits = [name for name in names if kinds[name] is wanted]
        if len(hits) == 1:
            return Choice(hits[0], others=len(names) - 1, kind=wanted)
        if hits:
            return Choice(None, f"several numbers say UV: {listed(hits)}; set `field` to one", kind=wanted)
    if len(names) > 1:
        return Choice(None, f"several numbers, and no name says UV plainly: {listed(names)}; set `field` to one")
    if kinds[names[0]] is Says.OTHER:
        return Choice(None, f"the only number is called {names[0] or context!r}, which is not UV; set `field` if it is")
    return Choice(names[0])


def _kind(name: str, unit: str | None, context: str) -> Says:
    kind = says(name)
    if kind is Says.NOTHING and context:
        kind = says(context)
    # A unit of irradiance says as much as a name, where the name says nothing.
    if kind is Says.NOTHING and unit is not None and plain_unit(unit) in IRRADIANCE_UNITS:
        return Says.UV
    return kind


def _by_field(names: list[str], field: str) -> Choice:
    wanted = " ".join(field.casefold().split())
    hits = [n for n in names if n == field]
    hits = hits or [n for n in names if same_label(n, wanted)]
    # The last name of a JSON Pointer, of a SenML name, of a label that has more words before it.
    hits = hits or [n for n in names if n.casefold().endswith(wanted) and n[-len(wanted) - 1] in "/-:._ "]
    if len(hits) == 1:
        return Choice(hits[0], others=len(names) - 1, kind=says(hits[0]))
    if names == [ONLY]:
        return Choice(None, f"a number without a name, and `field` asks for {field!r}: leave `field` out")
    where = "there more than once" if hits else "not there"
    return Choice(None, f"the field {field!r} is {where}; there are {listed(names)}")


def listed(names: Iterable[str]) -> str:
    """Some names in a row, as `field` would have them."""
    many = list(names)
    more = f" and {len(many) - NAMED} more" if len(many) > NAMED else ""
    return ", ".join(visible(name[:40]) for name in many[:NAMED]) + more


def note_on(choice: Choice, form: str) -> str:
    """What a person should know of a choice that was made for them; empty where there was none."""
    if form == "native":
        return 'auto reads the native line: set format = "native", so that the board can be asked, and can buzz'
    if choice.kind is Says.INDEX:
        return f"auto reads {choice.name or 'it'!r}: {INDEX_WORDS}"
    if choice.kind is Says.SHORT_WAVE or choice.others:
        what = f"one of {choice.others + 1} numbers" if choice.others else "short-wave UV, which a print hardly follows"
        return f'auto reads {choice.name!r}, {what}: to be sure of it set format = "{form}" and `field`'
    return ""
