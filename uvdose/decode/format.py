"""What a format of the settings is made of: how it is read, and how a line of it is told from all others.

Each module of a format ends with its `Format`; `formats` has the list of them, and all else is derived from that: what
`format` may be in the settings, what `auto` and `uvdose sensor find` know, the advice, `uvdose sensor formats`.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from .forms import Reader

ONLY = ""
"""The name of a number that stands alone: `field` is left out for it."""


class Wanted(msgspec.Struct, frozen=True):
    """What the settings want out of a line: `field`, `time_field`, `seq_field` as they stand there.

    comma: the decimal mark is a comma. unit: a key of `units.IRRADIANCE_UNITS`, `counts` or `V`.
    """

    field: str | None = None
    time_field: str | None = None
    seq_field: str | None = None
    comma: bool = False
    unit: str = "counts"


class Line(msgspec.Struct, frozen=True):
    """A line or message that is looked at. text: cleaned; None where it is no single line of text, or a remark (`#`).

    comma: the decimal mark is a comma. header: the columns' names, out of a header that came before.
    """

    data: bytes
    text: str | None
    comma: bool = False
    header: list[str] | None = None


class Shape(msgspec.Struct, frozen=True):
    """The form of a line. fields: the numbers by name; None where there is a place for one and none in it (`nan`).

    units: of the fields that name theirs. stamped: it carries a time of its own. header: this line names columns.
    sure: False where it may as well be of another form, which is then asked too. why: why it has no number, in words.
    """

    form: str
    fields: dict[str, float | None]
    units: dict[str, str] = {}
    stamped: bool = False
    header: bool = False
    sure: bool = True
    why: str = ""


class Format(msgspec.Struct, frozen=True, kw_only=True):
    """One format. name: the word for `format` in the settings. about, field: what it is, and what `field` names there.

    example: a line of it (invented). reader: makes the reader of one sensor's lines; raises ValueError, with what would
    be right, where `field` cannot be one. shape: the form and the numbers of a line, None where it has another form;
    never raises. by_lines: a message holds lines; False: it is one document, newlines and all. proven: one line says
    it beyond doubt, by a checksum or by its build. times: `time_field` and `seq_field` go with it.
    """

    name: str
    about: str
    field: str
    example: str
    reader: Callable[[Wanted], Reader]
    shape: Callable[[Line], Shape | None]
    by_lines: bool = True
    proven: bool = False
    times: bool = False
