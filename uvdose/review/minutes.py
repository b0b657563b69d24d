"""The light of a stretch of wall time minute by minute, as arrays, scaled as a screen shows it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import msgspec
import numpy as np
import numpy.typing as npt

from ..dose.minute import MINUTE_US
from ..journal.minutes import COLUMNS, FAR_US, Found, minutes_between
from ..journal.store import Store
from ..units import US_PER_S
from .raw import Scale

SPAN_US = 10_000 * MINUTE_US  # some days: what is held at a time of a long stretch
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
    table = columns_of(found)
    scales = {number: Scale(identity) for number, identity in found.identities.items()}
    keys: dict[tuple[str, str], list[int]] = defaultdict(list)
    for number, identity in found.identities.items():
        keys[identity.name, scales[number].unit].append(number)
    mine = {key: np.isin(table["sensor"], numbers) for key, numbers in keys.items()}
    return [_arrays(*key, {c: v[mine[key]] for c, v in table.items()}, scales) for key in keys if mine[key].any()]


def all_minutes(store: Store, wall0_us: int, wall1_us: int, sensor: str | None = None) -> Iterator[LightMinutes]:
    """The same of any stretch, sensor by sensor and some days at a time, so that years take no room."""
    low, high = store.db.execute(
        "SELECT min(a), max(b) FROM (SELECT min(minute) * :m AS a, (max(minute) + 1) * :m AS b FROM minute UNION ALL"
        " SELECT min(wall0_us) - :far, max(wall0_us + t1_us - t0_us) + :m FROM chunk)", {"m": MINUTE_US, "far": FAR_US}
    ).fetchone()
    if low is None:
        return
    names = [r[0] for r in store.db.execute("SELECT DISTINCT name FROM sensor ORDER BY name")]
    begin_us, end_us = max(wall0_us, low) // MINUTE_US * MINUTE_US, min(wall1_us, high)
    for name in names if sensor is None else [sensor]:
        for from_us in range(begin_us, end_us, SPAN_US):
            yield from light_minutes(store, from_us, min(end_us, from_us + SPAN_US), name)


def columns_of(found: Found) -> dict[str, Floats]:
    """Rows of minutes as arrays by column; what is not known is NaN."""
    table = np.array(found.rows, dtype=np.float64).reshape(-1, len(COLUMNS)).T
    return dict(zip(COLUMNS, table, strict=True))


def reading_span(store: Store, wall0_us: int, wall1_us: int) -> tuple[int, int] | None:
    """The labels of the first and the last reading in the minutes of a stretch; None when there are none."""
    found = [m for m in light_minutes(store, wall0_us, wall1_us) if m.readings.any()]
    return (min(m.first_us for m in found), max(m.last_us for m in found)) if found else None


def _arrays(name: str, unit: str, table: dict[str, Floats], scales: dict[int, Scale]) -> LightMinutes:
    """Rows of the same minute together: the settings may have changed in it."""
    minutes, place = np.unique(table["minute"].astype(np.int64), return_inverse=True)

    def added(values: Floats) -> Floats:
        return np.bincount(place, values, len(minutes)).astype(np.float64)

    factor, zero = np.zeros(len(place)), np.zeros(len(place))
    for number, scale in scales.items():
        mine = table["sensor"] == number
        factor[mine], zero[mine] = scale.factor, scale.zero
    measured_s, bridged_s = table["measured_us"] / US_PER_S, table["bridged_us"] / US_PER_S
    measured = added(factor * (table["measured"] - zero * measured_s))
    bridged = added(factor * (table["bridged"] - zero * bridged_s))
    total = added(factor * (table["total"] - zero * table["n"]))
    seconds, readings = added(measured_s) + added(bridged_s), added(table["n"])
    strongest = np.full(len(minutes), -np.inf)
    np.fmax.at(strongest, place, factor * (table["strongest"] - zero))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(seconds > 0, (measured + bridged) / seconds, total / readings)
    first, last = (table["minute"] * MINUTE_US + table[end] for end in ("first_us", "last_us"))
    read = bool(readings.any())
    return LightMinutes(
        name, unit, minutes * MINUTE_US, mean, np.where(np.isfinite(strongest), strongest, np.nan), measured, bridged,
        added(measured_s), added(bridged_s), added(table["full_us"] / US_PER_S), readings.astype(np.int64),
        added(table["full_n"]).astype(np.int64), int(np.nanmin(first)) if read else 0,
        int(np.nanmax(last)) if read else 0,
    )  # fmt: skip
