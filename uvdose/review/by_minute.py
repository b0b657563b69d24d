"""A sensor's light as means of whole minutes, for looking at weeks of it: out of the sums that the journal keeps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from ..dose.minute import MINUTE_US
from ..dose.response import Identity, identity_response, same_sensor
from ..journal.blocks import Block
from ..journal.minutes import minutes_between
from ..journal.store import Store
from ..light.arrays import FloatArray
from ..light.skies import Minutes
from ..units import US_PER_S
from .minutes import columns_of

MOST_RAW = 3_000  # blocks of a journal that is not summed yet, some two seconds; the newest go first
_EVER_US = 1 << 60

Wanted = Callable[[FloatArray], npt.NDArray[np.bool_]]
"""Which of these Unix seconds are wanted, as a mask: the night need not be read."""


def by_minute(store: Store, identity: Identity, from_us: int, wanted: Wanted) -> Minutes:
    """The means of the readings from a minute (wall label, microseconds) on, of one sensor as it is set up now: what
    came under settings that do not compare is left out.

    Light is in W/m², or in the sensor's own unit where it has no scale. Minutes at full scale are left out, too.
    """

    def lit(blocks: list[Block]) -> list[Block]:
        ends = np.array([(b.wall0_us, b.wall1_us) for b in blocks]).reshape(-1, 2).T / US_PER_S
        return [blocks[k] for k in np.flatnonzero(wanted(ends[0]) | wanted(ends[1]))[-MOST_RAW:]]

    found = minutes_between(store.db, from_us, _EVER_US, identity.name, lit)
    table = columns_of(found)
    factor, zero = np.zeros(len(table["n"])), np.zeros(len(table["n"]))
    for number, then in found.identities.items():
        if same_sensor(then, identity):
            response = identity_response(then)
            mine = table["sensor"] == number
            factor[mine], zero[mine] = response.factor, response.zero
    compares = factor != 0
    minutes, place = np.unique(table["minute"][compares], return_inverse=True)
    light = factor * (table["total"] - zero * table["n"])
    total, count, full = (
        np.bincount(place, column[compares], len(minutes)) for column in (light, table["n"], table["full_n"])
    )
    whole = (count > 0) & (full == 0)
    minutes, mean = minutes[whole], total[whole] / count[whole]
    utc_s = (minutes + 0.5) * (MINUTE_US / US_PER_S)
    chosen = wanted(utc_s)
    return Minutes(utc_s[chosen], mean[chosen])
