"""The light of a day as each sensor saw it: how long, how strong, and a trace for the timeline."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from ..clock import iso_utc
from ..dose.integrator import BRIDGE_US, reading_value
from ..model import RegisterReading
from ..units import US_PER_S
from .raw import Run, Scale

BINS = 76


class LightOfDay(msgspec.Struct, frozen=True):
    """One sensor's day. Irradiance in `unit`, in this sensor's band.

    minutes: time between readings at most 60 s apart. mean: over that time. trace: mean irradiance in each of
    BINS equal stretches of the timeline, None where there was no reading.
    """

    name: str
    unit: str
    readings: int
    minutes: float
    strongest: float | None
    mean: float | None
    first_utc: str
    last_utc: str
    trace: list[float | None]


class _Gatherer:
    def __init__(self, name: str, unit: str, from_us: int, to_us: int) -> None:
        self.name = name
        self.unit = unit
        self._from_us = from_us
        self._width_us = max(1, to_us - from_us)
        self._sums = [0.0] * BINS
        self._counts = [0] * BINS
        self._last: tuple[int, float] | None = None
        self._first_wall_us = 0
        self._last_wall_us = 0
        self._readings = 0
        self._us = 0
        self._area = 0.0
        self._strongest: float | None = None

    def trace(self, wall_us: int, value: float) -> None:
        place = (wall_us - self._from_us) * BINS // self._width_us
        if 0 <= place < BINS:
            self._sums[place] += value
            self._counts[place] += 1

    def add(self, wall_us: int, t_us: int, value: float, is_mean: bool) -> None:
        """is_mean: the value is the mean since the last reading; else it holds at its own moment."""
        if self._last is not None and 0 <= t_us - self._last[0] <= BRIDGE_US:
            step_us = t_us - self._last[0]
            self._us += step_us
            self._area += step_us * (value if is_mean else (value + self._last[1]) / 2)
        self._last = (t_us, value)
        self._first_wall_us = self._first_wall_us or wall_us
        self._last_wall_us = wall_us
        self._readings += 1
        self._strongest = value if self._strongest is None else max(self._strongest, value)

    def done(self) -> LightOfDay:
        return LightOfDay(
            name=self.name,
            unit=self.unit,
            readings=self._readings,
            minutes=self._us / US_PER_S / 60,
            strongest=self._strongest,
            mean=self._area / self._us if self._us else None,
            first_utc=iso_utc(self._first_wall_us),
            last_utc=iso_utc(self._last_wall_us),
            trace=[s / n if n else None for s, n in zip(self._sums, self._counts, strict=True)],
        )


def gather_light(runs: Iterable[Run], day_end_us: int, from_us: int, to_us: int) -> list[LightOfDay]:
    """Sum up readings by sensor and unit; what lies after the day's end only goes into the trace of its last print."""
    found: dict[tuple[str, str], _Gatherer] = {}
    for run in runs:
        scale = Scale(run.identity)
        key = (run.identity.name, scale.unit)
        gatherer = found.setdefault(key, _Gatherer(*key, from_us, to_us))
        for wall_us, t_us, reading in run.rows:
            value = scale.irradiance(reading_value(reading))
            gatherer.trace(wall_us, value)
            if wall_us < day_end_us:
                gatherer.add(wall_us, t_us, value, isinstance(reading, RegisterReading))
    return [g.done() for g in found.values()]
