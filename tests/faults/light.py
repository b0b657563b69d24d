"""The light of one case: a stretch of the measured month at one-second steps, and spells in which a sensor fails."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable

from faults.measured import textured
from support.payerne import day_w_m2

MINUTES = 36
DAYS = (11, 17, 23)
HOURS = (8, 13)  # UTC, as the month's record: forenoon to early afternoon
WEAKEST_W_M2 = 8.0
CALM_W_M2, CALM_WEAKEST_W_M2 = 1.0, 20.0
GRAIN_S = 0.05


def pick(rng: random.Random, calm: bool = False) -> list[float]:
    """W/m² at each second of a stretch in which a print is made: clouds as they came, no dusk. calm: no clouds."""
    while True:
        day = rng.choice(DAYS)
        minute = rng.randrange(HOURS[0] * 60, HOURS[1] * 60)
        means = day_w_m2(day)[minute : minute + MINUTES + 1]
        steps = [abs(b - a) for a, b in itertools.pairwise(means)]
        weakest = CALM_WEAKEST_W_M2 if calm else WEAKEST_W_M2
        if min(means) >= weakest and (not calm or max(steps) <= CALM_W_M2):
            return textured((day - 1) * 1440 + minute, MINUTES, rng)


class Light:
    """W/m² at any second, straight between whole ones. A spell changes what the sensor makes of it for a while.

    noise: of the sensor, added to what falls, another draw in each second.
    """

    def __init__(self, values: list[float], noise: list[float] | None = None) -> None:
        self._values = values
        self._noise = noise
        self._spells: list[tuple[float, float, Callable[[float], float]]] = []

    def true(self, s: float) -> float:
        """What falls."""
        i = min(max(0, int(s)), len(self._values) - 2)
        return self._values[i] + (self._values[i + 1] - self._values[i]) * min(s - i, 1.0)

    def __call__(self, s: float) -> float:
        """What the sensor says."""
        for begin, end, change in self._spells:
            if begin <= s < end:
                return change(s)
        return self.true(s) + (self._noise[int(s) % len(self._noise)] if self._noise else 0.0)

    def spell(self, begin_s: float, end_s: float, change: Callable[[float], float]) -> None:
        """A failure, set before it begins: what has been said stays said."""
        self._spells.append((begin_s, end_s, change))

    def dose(self, a_s: float, b_s: float, said: bool = False) -> float:
        """J/m² between two moments; what fell, or with `said` what the sensor made of it."""
        at = self if said else self.true
        n = max(1, round((b_s - a_s) / GRAIN_S))
        step = (b_s - a_s) / n
        points = [at(a_s + i * step) for i in range(n + 1)]
        return sum((p + q) / 2 for p, q in itertools.pairwise(points)) * step

    def crossing_s(self, begin_s: float, dose_j_m2: float, said: bool = False) -> float | None:
        """When a dose is reached that begins at a moment; None when it is not within the stretch."""
        at = self if said else self.true
        s, total = begin_s, 0.0
        while s < len(self._values) - 1:
            gained = (at(s) + at(s + GRAIN_S)) / 2 * GRAIN_S
            if total + gained >= dose_j_m2:
                return s + GRAIN_S * (dose_j_m2 - total) / gained
            total, s = total + gained, s + GRAIN_S
        return None
