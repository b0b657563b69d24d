"""The light of a stretch of wall time minute by minute, as arrays, scaled as a screen shows it."""

from __future__ import annotations

from collections import defaultdict

import msgspec
import numpy as np
import numpy.typing as npt

from ..dose.minute import MINUTE_US
from ..journal.minutes import MinuteRow, minutes_between
from ..journal.store import Store
from ..units import US_PER_S
from .raw import Scale

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class LightMinutes(msgspec.Struct, frozen=True):
    """One sensor's minutes, rising; those without a reading and without light between readings are left out.

    name, unit: sensor, and the unit of irradiance (mW/cm2, or the sensor's own). start_us: wall label at which the
    minute begins (microseconds since 1970, UTC). mean: irradiance over the time that was measured or bridged, of
    readings that stand alone their mean. strongest: the strongest reading, NaN where none came in the minute.
    measured, bridged: dose in unit-seconds (mJ/cm2 where unit is mW/cm2). measured_s, bridged_s, full_s: seconds, the
    last of them at full scale, where light is a lower bound. readings, full: how many, and how many at full scale.
    first_us, last_us: wall labels of the first and the last reading in the stretch; 0 where there is none.
    """

    name: str
    unit: str
    start_us: Ints
    mean: Floats
    strongest: Floats
    measured: Floats
    bridged: Floats
    measured_s: Floats
    bridged_s: Floats
    full_s: Floats
    readings: Ints
    full: Ints
    first_us: int
    last_us: int

    @property
    def dose(self) -> float:
        """All measured and bridged light, in unit-seconds."""
        return float(self.measured.sum() + self.bridged.sum())


def light_minutes(store: Store, wall0_us: int, wall1_us: int, sensor: str | None = None) -> list[LightMinutes]:
    """The minutes that overlap a stretch of wall time, for each sensor and unit, in the order of their rows."""
    found = minutes_between(store.db, wall0_us, wall1_us, sensor)
    rows: dict[tuple[str, str], list[MinuteRow]] = defaultdict(list)
    scales = {number: Scale(identity) for number, identity in found.identities.items()}
    for row in found.rows:
        rows[found.identities[row.sensor].name, scales[row.sensor].unit].append(row)
    return [_arrays(*key, some, scales) for key, some in rows.items()]


def minutes_of_day(store: Store, sensor: str, wall0_us: int, wall1_us: int) -> LightMinutes | None:
    """One sensor's minutes of a day, between its bounds (`review.day.day_bounds`); None where it has none.

    Of a sensor that was given another unit in the day it is the unit of most minutes.
    """
    return max(light_minutes(store, wall0_us, wall1_us, sensor), key=lambda m: len(m.start_us), default=None)


def reading_span(store: Store, wall0_us: int, wall1_us: int) -> tuple[int, int] | None:
    """The labels of the first and the last reading in the minutes of a stretch; None when there are none."""
    found = [m for m in light_minutes(store, wall0_us, wall1_us) if m.readings.any()]
    return (min(m.first_us for m in found), max(m.last_us for m in found)) if found else None


def _arrays(name: str, unit: str, rows: list[MinuteRow], scales: dict[int, Scale]) -> LightMinutes:
    """Rows of the same minute together: the settings may have changed in it."""
    minutes, place = np.unique(np.array([r.minute for r in rows], dtype=np.int64), return_inverse=True)

    def added(values: list[float] | Floats) -> Floats:
        return np.bincount(place, values, len(minutes)).astype(np.float64)

    factor = np.array([scales[r.sensor].factor for r in rows])
    zero = np.array([scales[r.sensor].zero for r in rows])
    measured_s = np.array([r.sums.measured_us for r in rows]) / US_PER_S
    bridged_s = np.array([r.sums.bridged_us for r in rows]) / US_PER_S
    count = np.array([r.sums.n for r in rows], dtype=np.float64)
    measured = added(factor * (np.array([r.sums.measured for r in rows]) - zero * measured_s))
    bridged = added(factor * (np.array([r.sums.bridged for r in rows]) - zero * bridged_s))
    total = added(factor * (np.array([r.sums.total for r in rows]) - zero * count))
    seconds, readings = added(measured_s) + added(bridged_s), added(count)
    strongest = np.full(len(minutes), -np.inf)
    peaks = np.array([np.nan if r.sums.strongest is None else r.sums.strongest for r in rows], dtype=np.float64)
    np.fmax.at(strongest, place, factor * (peaks - zero))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(seconds > 0, (measured + bridged) / seconds, total / readings)
    firsts = [r.minute * MINUTE_US + r.sums.first_us for r in rows if r.sums.first_us is not None]
    lasts = [r.minute * MINUTE_US + r.sums.last_us for r in rows if r.sums.last_us is not None]
    return LightMinutes(
        name, unit, minutes * MINUTE_US, mean, np.where(np.isfinite(strongest), strongest, np.nan), measured, bridged,
        added(measured_s), added(bridged_s), added(np.array([r.sums.full_us for r in rows]) / US_PER_S),
        readings.astype(np.int64), added([r.sums.full_n for r in rows]).astype(np.int64),
        min(firsts, default=0), max(lasts, default=0),
    )  # fmt: skip
