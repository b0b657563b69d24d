"""The light of a day as each sensor saw it: how long, how strong, its strongest minute, a trace for the timeline.

All of it comes from the minutes' sums, which stay when raw readings are pruned; only the trace, whose stretches may be
shorter than a minute, is made of raw readings while they are there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import msgspec
import numpy as np
import numpy.typing as npt

from ..dose.integrator import HOLE_INTERVALS, HOLE_US
from ..dose.minute import MINUTE_US
from ..stamps import iso_utc
from ..units import dose_unit
from .minutes import LightMinutes
from .recorded import Recorded, Stretch

if TYPE_CHECKING:
    from ..journal.prune import Pruned

BINS = 264
WHOLE_S = 59.5  # so much of a minute was read where it was read from end to end


class Minute(msgspec.Struct, frozen=True):
    """One whole minute of the wall clock, and its mean irradiance."""

    utc: str
    irradiance: float


class LightOfDay(msgspec.Struct, frozen=True):
    """One sensor's day. Irradiance in `unit`, in this sensor's band.

    minutes: time that was measured or bridged. mean: over that time. trace: mean irradiance in each of
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
    day: LightMinutes, read: Recorded | None, from_us: int, to_us: int, lit: Sequence[Stretch] = (),
    gone: Sequence[Pruned] = (),
) -> LightOfDay | None:  # fmt: skip
    """What one sensor saw of a day: its minutes (wall labels), and its raw readings for the trace.

    None where it read nothing then. from_us, to_us: the stretch that the trace spans. lit: when a print lay in the
    light of this sensor. gone: what was pruned; there the trace is made of the minutes.
    """
    if not day.readings.any():
        return None
    seconds = day.measured_s + day.bridged_s
    best, worst = _minutes(day, lit)
    if read is None:
        trace = _by_minutes(day, from_us, to_us)
    else:
        trace = _filled(_trace(read, from_us, to_us), day, from_us, to_us, [g for g in gone if g.sensor == day.name])
    return LightOfDay(
        name=day.name,
        unit=day.unit,
        readings=int(day.readings.sum()),
        minutes=float(seconds.sum()) / 60,
        strongest=float(np.nanmax(day.strongest)),
        mean=day.dose / float(seconds.sum()) if seconds.any() else None,
        first_utc=iso_utc(day.first_us),
        last_utc=iso_utc(day.last_us),
        trace=trace,
        dose=day.dose,
        dose_unit=dose_unit(day.unit, scaled=False),
        best=best,
        worst=worst,
    )


def _minutes(day: LightMinutes, lit: Sequence[Stretch]) -> tuple[Minute | None, Minute | None]:
    """The strongest minute that was read from end to end, and the weakest that lay within a print."""
    whole = day.measured_s + day.bridged_s >= WHOLE_S
    under = np.zeros(len(whole), dtype=bool)
    for stretch in lit:
        under |= (day.start_us >= stretch.start_us) & (day.start_us + MINUTE_US <= stretch.stop_us)

    def chosen(which: npt.NDArray[np.bool_], strongest: bool) -> Minute | None:
        found = np.flatnonzero(which)
        if not len(found):
            return None
        k = int(found[(np.argmax if strongest else np.argmin)(day.mean[found])])
        return Minute(iso_utc(int(day.start_us[k])), float(day.mean[k]))

    return chosen(whole, strongest=True), chosen(whole & under, strongest=False)


def _by_minutes(day: LightMinutes, from_us: int, to_us: int) -> list[float | None]:
    """The mean of the minutes in each stretch; in one that is shorter than they are, of the minute in its middle."""
    width_us = max(1, to_us - from_us)
    place = (day.start_us + MINUTE_US // 2 - from_us) * BINS // width_us
    shown = (place >= 0) & (place < BINS)
    seconds = (day.measured_s + day.bridged_s + 1e-3)[shown]  # a reading that stands alone counts, if nothing else does
    sums = np.bincount(place[shown], (day.mean[shown] * seconds), BINS)
    counts = np.bincount(place[shown], seconds, BINS)
    trace = [float(s / n) if n else None for s, n in zip(sums, counts, strict=True)]
    means = dict(zip((day.start_us // MINUTE_US).tolist(), day.mean.tolist(), strict=True))
    return [
        means.get(_middle_us(k, from_us, width_us) // MINUTE_US) if mean is None else mean
        for k, mean in enumerate(trace)
    ]


def _filled(
    trace: list[float | None], day: LightMinutes, from_us: int, to_us: int, gone: Sequence[Pruned]
) -> list[float | None]:
    """A trace of raw readings, with the minutes where those were pruned."""
    if not gone:
        return trace
    instead = _by_minutes(day, from_us, to_us)
    width_us = max(1, to_us - from_us)
    return [
        instead[k] if mean is None and any(g.holds(_middle_us(k, from_us, width_us)) for g in gone) else mean
        for k, mean in enumerate(trace)
    ]


def _middle_us(k: int, from_us: int, width_us: int) -> int:
    return from_us + (2 * k + 1) * width_us // (2 * BINS)


def _trace(read: Recorded, from_us: int, to_us: int) -> list[float | None]:
    """The mean of the readings in each stretch; where a seldom sensor has none in it, the light between its two."""
    width_us = max(1, to_us - from_us)
    place = (read.at_us - from_us) * BINS // width_us
    shown = (place >= 0) & (place < BINS)
    counts = np.bincount(place[shown], minlength=BINS)
    sums = np.bincount(place[shown], read.light[shown], minlength=BINS)
    middle = read.dose_time(from_us + (np.arange(BINS) * 2 + 1) * width_us // 2 // BINS)
    after = np.clip(np.searchsorted(read.t_us, middle), 1, max(1, len(read.t_us) - 1))
    most_us = max(HOLE_US, HOLE_INTERVALS * read.usual_us)
    between = np.zeros(BINS, dtype=bool)
    if len(read.t_us) > 1:
        between = (middle >= read.t_us[0]) & (middle <= read.t_us[-1]) & (read.unread_us[after] <= most_us)
    straight = read.straight(middle)
    return [
        float(sums[k] / counts[k]) if counts[k] else float(straight[k]) if between[k] else None for k in range(BINS)
    ]
