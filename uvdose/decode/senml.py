"""SenML packs in JSON (RFC 8428): base fields, resolved names, times and values, mandatory extensions.

Times. A resolved time of 2^28 s or more is absolute, seconds since 1970 UTC, and becomes `source_s`. A smaller
one, or none, is relative to the moment at which the pack is handled (RFC 8428, section 4.5.3). This code has no
clock, and the arrival of a pack is known to the caller only, so such a reading has `source_s` None: it counts at its
arrival. To give out the bare offset would be wrong: each pack's offsets start anew, and the next pack would seem
to come before the last. Order is kept: readings come out sorted by time wherever all times are of one sort.
"""

from __future__ import annotations

import math

import msgspec

from ..model import Decoded, MomentReading
from ..units import IRRADIANCE_UNITS
from .format import Format, Line, Shape, Wanted
from .json_form import looked_at, parse_document
from .lines import bad
from .scalars import Unreadable, believable

VERSION = 10
RELATIVE_BELOW_S = float(1 << 28)
_NUMERIC = frozenset(("bt", "bv", "bs", "bver", "t", "ut", "v", "s"))
_TEXTUAL = frozenset(("bn", "bu", "n", "u", "vs", "vd"))


class Record(msgspec.Struct, frozen=True):
    """A resolved record with a numeric value. time_s: absolute or relative seconds; own_name: `n` alone.

    value: as sent, base value added; None where it is not a number that can be believed, `fault` then says why.
    """

    name: str
    own_name: str
    unit: str | None
    time_s: float
    value: float | None
    fault: str = ""


def resolve_pack(document: object) -> list[Record]:
    """The records of a pack that hold or should hold a number, resolved, in the pack's order.

    Raises `Unreadable` where RFC 8428 wants the pack refused: an unknown version, an unknown field whose label ends
    in `_`, a record without a name, a field of the wrong type.
    """
    if not isinstance(document, list) or not document:
        raise Unreadable("not a SenML pack")
    base_name, base_unit, base_time, base_value = "", None, 0.0, 0.0
    records: list[Record] = []
    for entry in document:
        if not isinstance(entry, dict):
            raise Unreadable("not a SenML record")
        _check_labels(entry)
        base_name = entry.get("bn", base_name)
        base_unit = entry.get("bu", base_unit)
        base_time = _finite(entry.get("bt", base_time))
        # A base value may carry a "v" beyond what is believed and come back into range with it: only their sum counts.
        base_value = _finite(entry.get("bv", base_value))
        if _finite(entry.get("bver", VERSION)) > VERSION:
            raise Unreadable("unknown SenML version")
        name = base_name + entry.get("n", "")
        held = [label for label in ("v", "vs", "vb", "vd") if label in entry]
        if len(held) > 1:
            raise Unreadable("two values in one SenML record")
        if (held or "s" in entry) and not name:
            raise Unreadable("SenML record without a name")
        if held != ["v"]:
            continue
        value, fault = None, ""
        time_s = base_time + _finite(entry.get("t", 0.0))
        try:
            value = believable(_finite(entry["v"]) + base_value)
            believable(time_s)
        except Unreadable as why:
            value, fault = None, str(why)
        records.append(Record(name, entry.get("n", ""), entry.get("u", base_unit), time_s, value, fault))
    return records


def _check_labels(entry: dict[str, object]) -> None:
    for label, value in entry.items():
        if label in _TEXTUAL:
            if not isinstance(value, str):
                raise Unreadable(f"SenML {label}: not text")
        elif label in _NUMERIC:
            if label != "v" and (isinstance(value, bool) or not isinstance(value, int | float)):
                raise Unreadable(f"SenML {label}: not a number")
        elif label == "vb":
            if not isinstance(value, bool):
                raise Unreadable("SenML vb: not true or false")
        elif label.endswith("_"):
            raise Unreadable("unknown mandatory SenML field")


def _finite(value: object) -> float:
    """A JSON number as float. Raises `Unreadable`; strings are no numbers in SenML."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Unreadable("null value" if value is None else "not a number")
    try:
        found = float(value)
    except OverflowError:
        raise Unreadable("absurd number") from None
    if not math.isfinite(found):
        raise Unreadable("not a finite number")
    return found


class SenmlReader:
    """Reads one pack to the readings of one name.

    field: the resolved name, the record's own name, or the end of a resolved name behind one of `-:./_`. Without
    it: the one name with a unit of irradiance, else the first name with a number; several names with a unit of
    irradiance are refused, as a guess would pick a band. One name may carry several units (RFC 8428, section
    5.1.3): only records of one unit are taken, the unit of irradiance before the first.
    unit: the sensor's unit in the settings; a value in another unit of irradiance is converted to it, all else is
    taken as it stands.
    """

    def __init__(self, field: str | None, unit: str) -> None:
        self._field = field
        self._unit = unit

    def __call__(self, data: bytes) -> list[Decoded]:
        records = resolve_pack(parse_document(data))
        if not records:
            raise Unreadable("no numeric SenML record")
        if self._field is not None:
            records = _by_field(records, self._field)
        chosen = _one_series(records)
        if len({_absolute(record) for record in chosen}) == 1:
            chosen.sort(key=lambda record: record.time_s)
        return [
            bad(record.fault, data)
            if record.value is None
            else MomentReading(
                _convert(record.value, record.unit, self._unit), record.time_s if _absolute(record) else None
            )
            for record in chosen
        ]


def _absolute(record: Record) -> bool:
    return record.time_s >= RELATIVE_BELOW_S


def _by_field(records: list[Record], field: str) -> list[Record]:
    hits = [r for r in records if r.name == field]
    hits = hits or [r for r in records if r.own_name == field]
    hits = hits or [r for r in records if r.name.endswith(field) and _at_joint(r.name, field)]
    names = {r.name for r in hits}
    if len(names) != 1:
        raise Unreadable("several records; set field to a whole name" if names else "field not here")
    return hits


def _at_joint(name: str, end: str) -> bool:
    return end[:1] in "-:./_" or name[-len(end) - 1] in "-:./_"


def _one_series(records: list[Record]) -> list[Record]:
    """The records of one name and one unit."""
    series = {(r.name, r.unit): None for r in records}  # in the order of the pack
    irradiance = [one for one in series if one[1] in IRRADIANCE_UNITS]
    if len(irradiance) > 1:
        raise Unreadable("several records; set field to one name")
    name, unit = irradiance[0] if irradiance else next(iter(series))
    return [r for r in records if r.name == name and r.unit == unit]


def _convert(value: float, unit: str | None, wanted: str) -> float:
    if unit == wanted or unit not in IRRADIANCE_UNITS or wanted not in IRRADIANCE_UNITS:
        return value
    return value * IRRADIANCE_UNITS[unit] / IRRADIANCE_UNITS[wanted]


def _shape(line: Line) -> Shape | None:
    try:
        records = resolve_pack(looked_at(line))
    except Unreadable:
        return None
    units = {r.name: r.unit for r in records if r.unit is not None}
    return Shape("senml", {r.name: r.value for r in records}, units, stamped=True) if records else None


def _reader(wanted: Wanted) -> SenmlReader:
    return SenmlReader(wanted.field, wanted.unit)


SENML = Format(
    name="senml",
    about="SenML packs in JSON (RFC 8428)",
    field="a record's name, or its end",
    example='[{"n":"uv","u":"W/m2","v":23.1}]',
    reader=_reader,
    shape=_shape,
    by_lines=False,
    proven=True,
)
