"""The light of a day as lines to draw: means of short stretches, broken where the sensor was silent."""

from __future__ import annotations

import math
from itertools import pairwise

import msgspec
import numpy as np

from ..dose.integrator import BRIDGE_US
from ..journal.store import Store
from ..units import US_PER_S
from . import recorded
from .day import Day
from .recorded import Recorded

FINE = 400  # stretches that a day is drawn in, finer than a printer's page tells apart
SELDOM = 2.5  # usual intervals: a sensor that reads seldom has no gap from reading to reading


class Curve(msgspec.Struct, frozen=True):
    """One sensor's light. seconds: since the day's from_us; light: mean irradiance in `unit`, NaN where it breaks.

    holes: stretches without a reading, in the same seconds. strongest: the highest mean.
    """

    name: str
    unit: str
    seconds: list[float]
    light: list[float]
    holes: list[tuple[float, float]]
    strongest: float


def curves(store: Store, day: Day) -> list[Curve]:
    """Those of all sensors that read anything within the day's span. Raises `Refusal`."""
    return [curve(one, day.from_us, day.to_us) for one in recorded.read(store, day.from_us, day.to_us + 1)]


def curve(read: Recorded, from_us: int, to_us: int) -> Curve:
    """The light between two wall labels."""
    wall_us, width_us = read.wall_us, max(1, (to_us - from_us) // FINE)
    most_us = max(BRIDGE_US, SELDOM * read.usual_us)
    new = (read.unread_us > most_us) | (np.diff(wall_us, prepend=wall_us[:1]) < 0)  # the wall clock was set back
    part = np.cumsum(new)
    place = (read.at_us - from_us) // width_us
    _, first, counts = np.unique(part * (FINE + 2) + place, return_index=True, return_counts=True)
    light = np.add.reduceat(read.light, first) / counts
    at_us = np.add.reduceat(read.at_us - from_us, first) / counts
    seconds: list[float] = []
    told: list[float] = []
    ends: list[tuple[float, float]] = []
    for number in range(int(part[-1]) + 1):
        inside = np.flatnonzero(part == number)
        begin_s, end_s = ((int(wall_us[inside[k]]) - from_us) / US_PER_S for k in (0, -1))
        ends.append((begin_s, end_s))
        mine = part[first] == number
        seconds += [begin_s, *(at_us[mine] / US_PER_S), end_s, end_s]
        told += [float(read.light[inside[0]]), *light[mine], float(read.light[inside[-1]]), math.nan]
    span_s, most_s = (to_us - from_us) / US_PER_S, most_us / US_PER_S
    edges = [(0.0, ends[0][0]), *((a[1], b[0]) for a, b in pairwise(ends)), (ends[-1][1], span_s)]
    holes = [(a, b) for a, b in edges if b - a > most_s]
    return Curve(read.name, read.unit, seconds, told, holes, float(light.max()))
