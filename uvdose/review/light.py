"""The light of a day as each sensor saw it: how long, how strong, and a trace for the timeline."""

from __future__ import annotations

import msgspec
import numpy as np

from ..clock import iso_utc
from ..dose.integrator import reading_value
from ..dose.minute import MINUTE_US
from ..journal.prune import pruned
from ..journal.store import Store
from . import raw
from .minutes import LightMinutes, light_minutes

BINS = 76
RAW_US = 4 * 3_600_000_000  # up to here a bin is too narrow for minutes, and raw readings are soon read

Key = tuple[str, str]
Trace = list[float | None]


class LightOfDay(msgspec.Struct, frozen=True):
    """One sensor's day. Irradiance in `unit`, in this sensor's band.

    minutes: time that was measured or bridged. mean: over that time. trace: mean irradiance in each of BINS equal
    stretches of the timeline, None where there was no reading.
    """

    name: str
    unit: str
    readings: int
    minutes: float
    strongest: float | None
    mean: float | None
    first_utc: str
    last_utc: str
    trace: Trace


def gather_light(store: Store, wall0_us: int, wall1_us: int, from_us: int, to_us: int) -> list[LightOfDay]:
    """The light of a day, from wall0 to wall1, for each sensor and unit; the traces go from from_us to to_us.

    Raises `Refusal` for damaged readings in a short trace.
    """
    traces = _traces(store, from_us, to_us)
    days = light_minutes(store, wall0_us, wall1_us)
    return [_of_day(day, traces.get((day.name, day.unit), [None] * BINS)) for day in days if day.readings.any()]


def _of_day(day: LightMinutes, trace: Trace) -> LightOfDay:
    seconds = float(day.measured_s.sum() + day.bridged_s.sum())
    return LightOfDay(
        name=day.name,
        unit=day.unit,
        readings=int(day.readings.sum()),
        minutes=seconds / 60,
        strongest=float(np.nanmax(day.strongest)),
        mean=day.dose / seconds if seconds else None,
        first_utc=iso_utc(day.first_us),
        last_utc=iso_utc(day.last_us),
        trace=trace,
    )


def _traces(store: Store, from_us: int, to_us: int) -> dict[Key, Trace]:
    """Of a long stretch out of the minutes, of a short one out of raw readings, with the minutes where those went."""
    width_us = max(1, to_us - from_us)
    minutes = {(m.name, m.unit): m for m in light_minutes(store, from_us, to_us)}
    if width_us > RAW_US:
        return {key: _binned(m, from_us, width_us) for key, m in minutes.items()}
    found = _raw(store, from_us, to_us, width_us)
    gone = [s for s in pruned(store.db) if s.wall0_us < to_us and s.wall1_us >= from_us]
    for key, m in minutes.items() if gone else ():
        trace = found.setdefault(key, [None] * BINS)
        means = dict(zip((m.start_us // MINUTE_US).tolist(), m.mean.tolist(), strict=True))
        for k in range(BINS):
            middle_us = from_us + (2 * k + 1) * width_us // (2 * BINS)
            if trace[k] is None and any(s.sensor == key[0] and s.wall0_us <= middle_us <= s.wall1_us for s in gone):
                trace[k] = means.get(middle_us // MINUTE_US)
    return found


def _binned(m: LightMinutes, from_us: int, width_us: int) -> Trace:
    place = (m.start_us + MINUTE_US // 2 - from_us) * BINS // width_us
    inside = (place >= 0) & (place < BINS) & (m.readings > 0)
    weights = m.readings[inside].astype(np.float64)
    sums = np.bincount(place[inside], m.mean[inside] * weights, BINS)
    counts = np.bincount(place[inside], weights, BINS)
    return [float(s / n) if n else None for s, n in zip(sums, counts, strict=True)]


def _raw(store: Store, from_us: int, to_us: int, width_us: int) -> dict[Key, Trace]:
    sums: dict[Key, list[float]] = {}
    counts: dict[Key, list[int]] = {}
    for run in raw.runs(store, from_us, to_us):
        scale = raw.Scale(run.identity)
        key = run.identity.name, scale.unit
        total, count = sums.setdefault(key, [0.0] * BINS), counts.setdefault(key, [0] * BINS)
        for wall_us, _, reading in run.rows:
            place = (wall_us - from_us) * BINS // width_us
            total[place] += scale.irradiance(reading_value(reading))
            count[place] += 1
    return {
        key: [s / n if n else None for s, n in zip(total, counts[key], strict=True)] for key, total in sums.items()
    }
