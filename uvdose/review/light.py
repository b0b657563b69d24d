"""The light of a day as each sensor saw it: how long, how strong, its strongest minute, a trace for the timeline.

All of it comes from arrays of the day's readings, so that a day at ten readings a second opens at once.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np
import numpy.typing as npt

from ..clock import iso_utc
from ..dose.integrator import HOLE_INTERVALS, HOLE_US
from ..units import US_PER_S
from .recorded import MINUTE_US, Recorded, Stretch

BINS = 264


class Minute(msgspec.Struct, frozen=True):
    """One whole minute of the wall clock, and its mean irradiance."""

    utc: str
    irradiance: float


class LightOfDay(msgspec.Struct, frozen=True):
    """One sensor's day. Irradiance in `unit`, in this sensor's band.

    minutes: time between readings close enough to be bridged. mean: over that time. trace: mean irradiance in each of
    BINS equal stretches of the timeline, None where nothing was read. dose: over `minutes`, in dose_unit. best: the
    strongest whole minute of the day; worst: the weakest one in which a print lay in the light, None where none did.
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
    dose: float = 0.0
    dose_unit: str = ""
    best: Minute | None = None
    worst: Minute | None = None

    @property
    def clear(self) -> float | None:
        """The clearest light of the day: its strongest minute; in less than a minute of readings the strongest."""
        return self.best.irradiance if self.best is not None else self.strongest


def light_of_day(
    read: Recorded, wall0_us: int, wall1_us: int, from_us: int, to_us: int, lit: Sequence[Stretch] = ()
) -> LightOfDay | None:
    """What one sensor saw of a day (wall labels); None when it read nothing then.

    from_us, to_us: the stretch that the trace spans. lit: when a print lay in the light of this sensor.
    """
    inside = (read.wall_us >= wall0_us) & (read.wall_us < wall1_us)
    if not inside.any():
        return None
    first, last = (int(np.flatnonzero(inside)[k]) for k in (0, -1))
    known = slice(first + 1, last + 1)
    close = read.step_us[known] <= read.bridged_us
    us, area = read.step_us[known][close], read.area[known][close]
    strongest = read.light[inside].max()
    best, worst = _minutes(read, first, last, lit)
    return LightOfDay(
        name=read.name,
        unit=read.unit,
        readings=int(inside.sum()),
        minutes=float(us.sum()) / US_PER_S / 60,
        strongest=float(strongest),
        mean=float(area.sum() / us.sum()) * US_PER_S if us.sum() else None,
        first_utc=iso_utc(int(read.wall_us[first])),
        last_utc=iso_utc(int(read.wall_us[last])),
        trace=_trace(read, from_us, to_us),
        dose=float(area.sum()),
        dose_unit=read.dose_unit,
        best=best,
        worst=worst,
    )


def _minutes(read: Recorded, first: int, last: int, lit: Sequence[Stretch]) -> tuple[Minute | None, Minute | None]:
    """The strongest minute that was read from end to end, and the weakest that lay within a print."""
    begin = -(-int(read.wall_us[first]) // MINUTE_US)
    edges = np.arange(begin, int(read.wall_us[last]) // MINUTE_US + 1) * MINUTE_US
    if len(edges) < 2:
        return None, None
    at_us = read.dose_time(edges)
    mean = np.diff(read.dose_until(at_us)) / (MINUTE_US / US_PER_S)
    whole = np.diff(read.read_until(at_us)) >= MINUTE_US - US_PER_S // 2
    under = np.zeros(len(mean), dtype=bool)
    for stretch in lit:
        under |= (edges[:-1] >= stretch.start_us) & (edges[1:] <= stretch.stop_us)

    def chosen(which: npt.NDArray[np.bool_], strongest: bool) -> Minute | None:
        found = np.flatnonzero(which)
        if not len(found):
            return None
        k = int(found[(np.argmax if strongest else np.argmin)(mean[found])])
        return Minute(iso_utc(int(edges[k])), float(mean[k]))

    return chosen(whole, strongest=True), chosen(whole & under, strongest=False)


def _trace(read: Recorded, from_us: int, to_us: int) -> list[float | None]:
    """The mean of the readings in each stretch; where a seldom sensor has none in it, the light between its two."""
    width_us = max(1, to_us - from_us)
    place = (read.wall_us - from_us) * BINS // width_us
    shown = (place >= 0) & (place < BINS)
    counts = np.bincount(place[shown], minlength=BINS)
    sums = np.bincount(place[shown], read.light[shown], minlength=BINS)
    middle = read.dose_time(from_us + (np.arange(BINS) * 2 + 1) * width_us // 2 // BINS)
    after = np.clip(np.searchsorted(read.t_us, middle), 1, max(1, len(read.t_us) - 1))
    most_us = max(HOLE_US, HOLE_INTERVALS * read.usual_us)
    between = np.zeros(BINS, dtype=bool)
    if len(read.t_us) > 1:
        between = (middle >= read.t_us[0]) & (middle <= read.t_us[-1]) & (read.step_us[after] <= most_us)
    straight = np.interp(middle, read.t_us, read.light)
    return [
        float(sums[k] / counts[k]) if counts[k] else float(straight[k]) if between[k] else None for k in range(BINS)
    ]
