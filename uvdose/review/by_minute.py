"""A sensor's light as means of whole minutes, out of raw readings, for looking at weeks of it.

The newest readings go first and their number is bounded: a month at one a second takes about a second.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec
import numpy as np
import numpy.typing as npt

from ..dose.response import Identity, Response, identity_response, same_sensor
from ..journal.pack import unpack_values
from ..journal.store import Store
from ..light.arrays import FloatArray
from ..light.skies import Minutes
from ..units import US_PER_S

MOST_CHUNKS = 30_000
_MINUTE_US = 60 * US_PER_S
_NONE = np.zeros((3, 0))

Wanted = Callable[[FloatArray], npt.NDArray[np.bool_]]
"""Which of these Unix seconds are wanted, as a mask: the night need not be read."""


def by_minute(store: Store, identity: Identity, from_us: int, wanted: Wanted) -> Minutes:
    """The means from a moment (wall label, microseconds) on, of one sensor as it is set up now: what came under
    settings that do not compare is left out.

    Light is in W/m², or in the sensor's own unit where it has no scale. Minutes at full scale are left out, too.
    """
    parts = [_sums(store, *chunk) for chunk in _chunks(store, identity, from_us, wanted)]
    minute, total, count = _merged([_NONE, *parts])
    mean = total / count
    whole = np.isfinite(mean)
    return Minutes((minute[whole] + 0.5) * 60.0, mean[whole])


def _chunks(store: Store, identity: Identity, from_us: int, wanted: Wanted) -> list[tuple[int, Response]]:
    """The chunks to read, the oldest first, each with the response of its settings."""
    responses = {}
    for number, text in store.db.execute("SELECT id, identity FROM sensor WHERE name = ?", (identity.name,)):
        then = msgspec.json.decode(text, type=Identity)
        if same_sensor(then, identity):
            responses[int(number)] = identity_response(then)
    rows = []
    for number in responses:
        rows += store.db.execute(
            "SELECT id, sensor, wall0_us, wall0_us + t1_us - t0_us FROM chunk WHERE sensor = ? AND wall0_us >= ?",
            (number, from_us),
        ).fetchall()
    if not rows:
        return []
    rows.sort()
    numbers, sensors, begin_us, end_us = np.array(rows, dtype=np.int64).T
    lit = np.flatnonzero(wanted(begin_us / US_PER_S) | wanted(end_us / US_PER_S))[-MOST_CHUNKS:]
    return [(int(numbers[k]), responses[int(sensors[k])]) for k in lit]


def _sums(store: Store, number: int, response: Response) -> FloatArray:
    """Minute, sum and count of one chunk; a damaged one has none."""
    kind, shift_us, data = store.db.execute(
        "SELECT kind, wall0_us - t0_us, data FROM chunk WHERE id = ?", (number,)
    ).fetchone()
    try:
        times, values = unpack_values(kind, data)
    except ValueError:
        return _NONE
    minute = (times + shift_us) // _MINUTE_US
    first = int(minute.min())
    full = np.inf if response.full_scale is None else response.full_scale
    light = np.where(values < full, response.factor * (values - response.zero), np.nan)
    sums, counts = np.bincount(minute - first, light), np.bincount(minute - first)
    seen = np.flatnonzero(counts)
    return np.stack([seen + float(first), sums[seen], counts[seen].astype(float)])


def _merged(parts: list[FloatArray]) -> FloatArray:
    """Sums of the same minute together, rising."""
    every = np.concatenate(parts, axis=1)
    minutes, place = np.unique(every[0], return_inverse=True)
    return np.stack([minutes, np.bincount(place, every[1], len(minutes)), np.bincount(place, every[2], len(minutes))])
