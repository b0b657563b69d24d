"""Taking out what the journal holds: records of one kind, each a flat mapping, as `columns` describes them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isnan
from typing import IO, Any, NamedTuple

import msgspec

from ..dose.integrator import reading_value
from ..journal.store import Store
from ..model import MeanReading, MomentReading, Refusal
from ..stamps import from_iso, iso_utc, iso_utc_exact
from ..units import US_PER_S, dose_unit
from . import raw
from .columns import BENCH, TABLES
from .day import stops_of
from .export_forms import FORMS, Record, Units, Writer, write_csv, write_jsonl, write_parquet
from .minutes import all_minutes
from .standing import standing

WHATS = tuple(TABLES)
EVENTS_AT_A_TIME = 5000


class Wanted(NamedTuple):
    """A stretch of wall time, and one sensor alone, or all of them."""

    wall0_us: int
    wall1_us: int
    sensor: str | None = None


def write(store: Store, what: str, form: str, wanted: Wanted, out: IO[Any]) -> int:
    """Write records to `out`, a text file, for Parquet a binary one; returns how many. Raises `Refusal`."""
    refuse_unknown(what, form)
    records, units = _records(store, what, wanted)
    return _WRITERS[form](records, TABLES[what], units, out)


def write_several(benches: Sequence[tuple[str, Store, Wanted]], what: str, form: str, out: IO[Any]) -> int:
    """The same of several benches, one after the other, each row with its bench before all else. Raises `Refusal`."""
    refuse_unknown(what, form)
    found = [(name, *_records(store, what, wanted)) for name, store, wanted in benches]
    units: Units = {}
    for _, _, of_one in found:
        units = {key: sorted({*units.get(key, []), *of_one.get(key, [])}) for key in units | of_one}
    records = ({"bench": name} | record for name, of_one, _ in found for record in of_one)
    return _WRITERS[form](records, (BENCH, *TABLES[what]), units, out)


_WRITERS: dict[str, Writer] = {"csv": write_csv, "jsonl": write_jsonl, "parquet": write_parquet}


def _records(store: Store, what: str, wanted: Wanted) -> tuple[Iterator[Record], Units]:
    """Records of one kind, and which units each column that has one comes in."""
    if what in ("exposures", "targets"):
        found = list(_exposures(store, wanted) if what == "exposures" else _targets(store, wanted))
        return iter(found), {"unit": sorted({str(e["unit"]) for e in found})}
    if what in ("events", "notes"):
        return (_events(store, wanted) if what == "events" else _notes(store, wanted)), {}
    known = [i for i in raw.identities(store) if wanted.sensor in (None, i.name)]
    shown = {raw.Scale(i).unit for i in known}
    return (_readings(store, wanted) if what == "readings" else _minutes(store, wanted)), {
        "value_unit": sorted({i.unit for i in known}),
        "irradiance_unit": sorted(shown),
        "dose_unit": sorted({dose_unit(unit, scaled=False) for unit in shown}),
    }


def refuse_unknown(what: str, form: str) -> None:
    """Raises `Refusal` (code 2) for a kind of record or a format that is none."""
    if what not in WHATS:
        raise Refusal(f"export of {what!r}: one of {', '.join(WHATS)}", 2)
    if form not in FORMS:
        raise Refusal(f"format {form!r}: one of {', '.join(FORMS)}", 2)


def _names(what: str) -> list[str]:
    return [column.name for column in TABLES[what]]


def _exposures(store: Store, wanted: Wanted) -> Iterator[Record]:
    names = _names("exposures")
    for kept in store.between(wanted.wall0_us, wanted.wall1_us):
        if wanted.sensor not in (None, kept.plan.sensor):
            continue
        shown = standing(store, kept)
        document: Record = msgspec.to_builtins(shown)
        combination: Record = msgspec.to_builtins(kept.plan.target.combination)
        raw_dose = shown.target_dose if shown.target_dose_raw is None else shown.target_dose_raw
        record = document | combination | {"stops": stops_of(shown), "target_dose_raw": raw_dose}
        yield {name: record[name] for name in names}


def _events(store: Store, wanted: Wanted) -> Iterator[Record]:
    after = 0
    while found := store.events(after, wanted.wall0_us, wanted.wall1_us, EVENTS_AT_A_TIME):
        after = found[-1].id
        for event in found:
            if wanted.sensor in (None, event.sensor):
                yield msgspec.to_builtins(event)


def _notes(store: Store, wanted: Wanted) -> Iterator[Record]:
    rows = store.db.execute(
        "SELECT id, wall_us, kind, subject, data FROM note WHERE wall_us >= ? AND wall_us < ? ORDER BY id",
        (wanted.wall0_us, wanted.wall1_us),
    )
    for number, wall_us, kind, subject, data in rows:
        yield {
            "id": number, "utc": iso_utc(wall_us), "kind": kind, "subject": subject, "data": msgspec.json.decode(data)
        }


def _targets(store: Store, wanted: Wanted) -> Iterator[Record]:
    names = _names("targets")
    for newest in store.targets():
        for target in store.versions(newest.name):
            bound = target.identity.name if target.identity is not None else None
            made_us = from_iso(target.made_utc) if target.made_utc else wanted.wall0_us
            if not wanted.wall0_us <= made_us < wanted.wall1_us or wanted.sensor not in (None, bound):
                continue
            record: Record = msgspec.to_builtins(target) | msgspec.to_builtins(target.combination)
            record |= {
                "sensor": bound, "looks": list(target.calls.looks), "lead_s": target.calls.lead_s,
                "overshoots": list(target.calls.overshoots), "made_utc": target.made_utc or None,
            }
            yield {name: record[name] for name in names}


def _readings(store: Store, wanted: Wanted) -> Iterator[Record]:
    names = _names("readings")
    for run in raw.runs(store, wanted.wall0_us, wanted.wall1_us):
        identity = run.identity
        if wanted.sensor not in (None, identity.name):
            continue
        scale = raw.Scale(identity)
        same = dict.fromkeys(names) | {
            "sensor": identity.name, "value_unit": identity.unit, "irradiance_unit": scale.unit,
            "format": identity.format, "scale": identity.scale, "zero": identity.zero, "zero_u": identity.zero_u,
            "full_scale": identity.full_scale, "light": identity.light,
        }
        for wall_us, t_us, reading in run.rows:
            value = reading_value(reading)
            record = same | {
                "utc": iso_utc_exact(wall_us), "dose_time_s": t_us / US_PER_S, "value": value,
                "irradiance": scale.irradiance(value), "seq": reading.seq,
            }
            if isinstance(reading, MeanReading):
                record["span_s"] = reading.span_us / US_PER_S
            elif not isinstance(reading, MomentReading):
                record |= {
                    "boot": f"{reading.boot:08x}", "uptime_ms": reading.uptime_ms, "register": reading.register,
                    "sat_ms": reading.sat_ms, "presses": reading.presses, "flags": f"{reading.flags:02x}",
                }
            yield record


def _minutes(store: Store, wanted: Wanted) -> Iterator[Record]:
    names = _names("minutes")
    for m in all_minutes(store, *wanted):
        same = {"sensor": m.name, "irradiance_unit": m.unit, "dose_unit": dose_unit(m.unit, scaled=False)}
        columns = (m.mean, m.strongest, m.measured, m.bridged, m.measured_s, m.bridged_s, m.full_s, m.readings, m.full)
        rows = zip(m.start_us.tolist(), *(column.tolist() for column in columns), strict=True)
        for start_us, mean, strongest, measured, bridged, measured_s, bridged_s, full_s, readings, full in rows:
            record = same | {
                "utc": iso_utc(start_us), "irradiance": mean, "strongest": None if isnan(strongest) else strongest,
                "measured_dose": measured, "bridged_dose": bridged, "measured_s": measured_s, "bridged_s": bridged_s,
                "full_s": full_s, "readings": readings, "full_readings": full,
            }
            yield {name: record[name] for name in names}
