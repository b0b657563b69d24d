"""The list of the formats, in the order in which a line of unknown form is tried on them. A new one is a line here."""

from __future__ import annotations

from .format import Format
from .json_form import JSON
from .line_protocol import LINE_PROTOCOL
from .nmea import NMEA
from .senml import SENML
from .table import CSV
from .text import LABEL, NUMBER

FORMATS: tuple[Format, ...] = (SENML, JSON, NUMBER, NMEA, LINE_PROTOCOL, LABEL, CSV)

BY_NAME = {one.name: one for one in FORMATS}
NAMES = ("native", *BY_NAME, "auto")
"""What `format` may be: the native line is a protocol of its own (`native`), and `auto` is any of them."""

PROVEN = frozenset(("native", *(one.name for one in FORMATS if one.proven)))
WITH_TIMES = tuple(one.name for one in FORMATS if one.times)
