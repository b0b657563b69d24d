"""Taking out what the journal holds: exposures, events or raw readings, as CSV (RFC 4180) or JSON lines.

Each record is a flat mapping; a CSV column says its unit in its header, in brackets. Where the records of one
column differ in unit, the header says which column names it.

A text in CSV that begins as a formula does (= + - @) gets an apostrophe before it, so that no spreadsheet computes
it; numbers and JSON lines stay as they are.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from typing import Any, TextIO

import msgspec

from ..clock import iso_utc
from ..dose.integrator import reading_value
from ..journal.store import Store
from ..model import MomentReading, Refusal
from ..units import US_PER_S
from . import raw
from .day import stops_of
from .standing import standing

WHATS = ("exposures", "events", "readings")
FORMS = ("csv", "jsonl")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
EVENTS_AT_A_TIME = 5000

Record = dict[str, Any]

_EXPOSURE_UNITS = {
    "target_dose": "unit", "target_dose_raw": "unit", "dose": "unit", "dose_low": "unit", "dose_high": "unit",
    "missing_dose": "unit", "stops": "=stops", "correction_stops": "=stops", "fraction": "=1",
    "measured_s": "=s", "bridged_s": "=s", "missing_s": "=s", "saturated_s": "=s",
}
_READING_UNITS = {
    "dose_time_s": "=s", "value": "value_unit", "irradiance": "irradiance_unit", "register": "=counts.ms",
    "uptime_ms": "=ms", "sat_ms": "=ms",
}
_READING_KEYS = (
    "sensor", "utc", "dose_time_s", "value", "value_unit", "irradiance", "irradiance_unit", "seq", "boot",
    "uptime_ms", "register", "sat_ms", "presses", "flags",
)
_EXPOSURE_KEYS = (
    "id", "label", "frame", "sensor", "target", "target_version", "process", "paper", "coat", "film", "state", "unit",
    "target_dose", "dose", "dose_low", "dose_high", "fraction", "stops", "measured_s", "bridged_s", "missing_s",
    "saturated_s", "missing_dose", "started_utc", "reached_utc", "finished_utc", "settled", "target_dose_raw",
    "correction_stops",
)
_EVENT_KEYS = ("id", "utc", "event", "exposure", "sensor", "data")


def write(store: Store, what: str, form: str, wall0_us: int, wall1_us: int, out: TextIO) -> int:
    """Write records of a stretch of wall time to `out`; returns how many. Raises `Refusal`."""
    refuse_unknown(what, form)
    if what == "exposures":
        exposures = list(_exposures(store, wall0_us, wall1_us))
        units = {"unit": sorted({str(e["unit"]) for e in exposures})}
        return _write(exposures, form, _headers(_EXPOSURE_KEYS, _EXPOSURE_UNITS, units), out)
    if what == "events":
        return _write(_events(store, wall0_us, wall1_us), form, {k: k for k in _EVENT_KEYS}, out)
    known = raw.identities(store)
    units = {
        "value_unit": sorted({i.unit for i in known}),
        "irradiance_unit": sorted({raw.Scale(i).unit for i in known}),
    }
    return _write(_readings(store, wall0_us, wall1_us), form, _headers(_READING_KEYS, _READING_UNITS, units), out)


def refuse_unknown(what: str, form: str) -> None:
    """Raises `Refusal` (code 2) for a kind of record or a format that is none."""
    if what not in WHATS:
        raise Refusal(f"export of {what!r}: one of {', '.join(WHATS)}", 2)
    if form not in FORMS:
        raise Refusal(f"format {form!r}: one of {', '.join(FORMS)}", 2)


def _headers(keys: Iterable[str], unit_of: dict[str, str], units: dict[str, list[str]]) -> dict[str, str]:
    """Key to header: `dose [mJ/cm2]`, or `dose [see unit]` where several units meet."""
    headers: dict[str, str] = {}
    for key in keys:
        source = unit_of.get(key)
        if source is None:
            headers[key] = key
        elif source.startswith("="):
            headers[key] = f"{key} [{source[1:]}]"
        else:
            several = units[source]
            headers[key] = f"{key} [{several[0] if len(several) == 1 else f'see {source}'}]"
    return headers


def _write(records: Iterable[Record], form: str, headers: dict[str, str], out: TextIO) -> int:
    count = 0
    if form == "jsonl":
        for record in records:
            out.write(msgspec.json.encode(record).decode() + "\n")
            count += 1
        return count
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(headers.values())
    for record in records:
        table.writerow([_cell(record.get(key)) for key in headers])
        count += 1
    return count


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, dict):
        return msgspec.json.encode(value).decode()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return repr(value) if isinstance(value, float) else str(value)


def _exposures(store: Store, wall0_us: int, wall1_us: int) -> Iterator[Record]:
    for kept in store.between(wall0_us, wall1_us):
        shown = standing(store, kept)
        document: Record = msgspec.to_builtins(shown)
        combination: Record = msgspec.to_builtins(kept.plan.target.combination)
        raw_dose = shown.target_dose if shown.target_dose_raw is None else shown.target_dose_raw
        record = document | combination | {"stops": stops_of(shown), "target_dose_raw": raw_dose}
        yield {key: record[key] for key in _EXPOSURE_KEYS}


def _events(store: Store, wall0_us: int, wall1_us: int) -> Iterator[Record]:
    after = 0
    while found := store.events(after, wall0_us, wall1_us, EVENTS_AT_A_TIME):
        after = found[-1].id
        for event in found:
            yield msgspec.to_builtins(event)


def _readings(store: Store, wall0_us: int, wall1_us: int) -> Iterator[Record]:
    for run in raw.runs(store, wall0_us, wall1_us):
        scale = raw.Scale(run.identity)
        for wall_us, t_us, reading in run.rows:
            value = reading_value(reading)
            record: Record = dict.fromkeys(_READING_KEYS)
            record |= {
                "sensor": run.identity.name, "utc": iso_utc(wall_us), "dose_time_s": t_us / US_PER_S, "value": value,
                "value_unit": run.identity.unit, "irradiance": scale.irradiance(value), "irradiance_unit": scale.unit,
            }
            if isinstance(reading, MomentReading):
                record["seq"] = reading.seq
            else:
                record |= {
                    "seq": reading.seq, "boot": f"{reading.boot:08x}", "uptime_ms": reading.uptime_ms,
                    "register": reading.register, "sat_ms": reading.sat_ms, "presses": reading.presses,
                    "flags": f"{reading.flags:02x}",
                }
            yield record
