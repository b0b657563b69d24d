"""A sensor's light as means of whole minutes, out of raw readings, for looking at weeks of it.

The newest readings go first and their number is bounded: a month at one a second takes about a second. Asked again,
only what is new is read.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec
import numpy as np
import numpy.typing as npt

from ..dose.response import Identity, identity_response, same_sensor
from ..journal.pack import unpack_values
from ..journal.store import Store
from ..light.arrays import FloatArray
from ..light.skies import Minutes
from ..units import US_PER_S

MOST_CHUNKS = 30_000
KEPT_DAYS = 31
_MINUTE_US = 60 * US_PER_S
_NONE = np.zeros((3, 0))

Wanted = Callable[[FloatArray], npt.NDArray[np.bool_]]
"""Which of these Unix seconds are wanted, as a mask: the night need not be read."""


class ByMinute:
    """One sensor as it is set up now: what came under settings that do not compare is left out.

    Light is in W/m², or in the sensor's own unit where it has no scale. Minutes at full scale are left out, too.
    """

    def __init__(self, identity: Identity) -> None:
        self._identity = identity
        self._kept = _NONE  # minute, sum, count
        self._until = 0  # the newest chunk that is in it

    def read(self, store: Store, from_us: int, wanted: Wanted) -> Minutes:
        """The means of the minutes from a moment (wall label, microseconds) on."""
        chunks = self._chunks(store, from_us, wanted)
        growing = max((number for number, *_ in chunks), default=0)
        parts = [(number, self._sums(store, number, factor, zero, full)) for number, factor, zero, full in chunks]
        new = [part for number, part in parts if number != growing]
        if new:
            self._kept = _merged([self._kept, *new])
            self._until = max(number for number, *_ in chunks if number != growing)
        oldest = max(from_us // _MINUTE_US, 0)
        self._kept = self._kept[:, self._kept[0] >= oldest]
        minute, total, count = _merged([self._kept, *(part for number, part in parts if number == growing)])
        mean = total / count
        whole = np.isfinite(mean)
        return Minutes((minute[whole] + 0.5) * 60.0, mean[whole])

    def _chunks(self, store: Store, from_us: int, wanted: Wanted) -> list[tuple[int, float, float, float]]:
        """Number, factor, zero and full scale of each chunk to read."""
        responses = {}
        for number, text in store.db.execute("SELECT id, identity FROM sensor WHERE name = ?", (self._identity.name,)):
            then = msgspec.json.decode(text, type=Identity)
            if same_sensor(then, self._identity):
                responses[int(number)] = identity_response(then)
        rows = []
        for number in responses:
            rows += store.db.execute(
                "SELECT id, sensor, wall0_us, wall0_us + t1_us - t0_us FROM chunk"
                " WHERE sensor = ? AND id > ? AND wall0_us >= ?", (number, self._until, from_us)
            ).fetchall()
        if not rows:
            return []
        rows.sort()
        numbers, sensors, begin_us, end_us = np.array(rows, dtype=np.int64).T
        lit = wanted(begin_us / US_PER_S) | wanted(end_us / US_PER_S)
        lit[-1] = True  # the newest is the one that grows, by day and by night
        found = []
        for number, sensor in zip(numbers[lit][-MOST_CHUNKS:], sensors[lit][-MOST_CHUNKS:], strict=True):
            response = responses[int(sensor)]
            full = float("inf") if response.full_scale is None else response.full_scale
            found.append((int(number), response.factor, response.zero, full))
        return found

    @staticmethod
    def _sums(store: Store, number: int, factor: float, zero: float, full: float) -> FloatArray:
        """Minute, sum and count of one chunk; a damaged one has none."""
        row = store.db.execute("SELECT kind, wall0_us - t0_us, data FROM chunk WHERE id = ?", (number,)).fetchone()
        try:
            times, values = unpack_values(row[0], row[2]) if row is not None else (np.zeros(0), np.zeros(0))
        except ValueError:
            return _NONE
        if not len(times):
            return _NONE
        minute = (times + row[1]) // _MINUTE_US
        first = int(minute.min())
        light = np.where(values < full, factor * (values - zero), np.nan)
        sums = np.bincount(minute - first, light)
        counts = np.bincount(minute - first)
        seen = np.flatnonzero(counts)
        return np.stack([seen + float(first), sums[seen], counts[seen].astype(float)])


def _merged(parts: list[FloatArray]) -> FloatArray:
    """Sums of the same minute together, rising."""
    every = np.concatenate(parts, axis=1)
    minutes, place = np.unique(every[0], return_inverse=True)
    return np.stack([minutes, np.bincount(place, every[1], len(minutes)), np.bincount(place, every[2], len(minutes))])
