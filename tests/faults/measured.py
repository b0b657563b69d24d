"""Measured light at one-second steps: minute means of a real month, with a texture that keeps the means' own unrest.

The measured record ends at one minute. Within the minute the light is taken to wander as it does from minute to
minute: a random walk from each minute's middle to the next (a Brownian bridge), as restless as the minutes around it.
"""

from __future__ import annotations

import itertools
import math
import random

from support.payerne import uva_w_m2

MINUTE = 60


def textured(first_minute: int, minutes: int, rng: random.Random) -> list[float]:
    """Light in W/m² at each second, from the middle of a minute of the month on."""
    means = [max(0.0, v or 0.0) for v in uva_w_m2()[first_minute : first_minute + minutes + 1]]
    out: list[float] = []
    for i in range(minutes):
        around = means[max(0, i - 3) : i + 5]
        steps = [b - a for a, b in itertools.pairwise(around)]
        # A minute mean of a random walk moves by 2/3 of the walk's own variance a minute.
        sd = math.sqrt(sum(s * s for s in steps) / max(1, len(steps)) * 1.5 / MINUTE)
        walk = [0.0]
        for _ in range(MINUTE):
            walk.append(walk[-1] + rng.gauss(0, sd))
        for s in range(MINUTE):
            share = s / MINUTE
            bridge = walk[s] - share * walk[-1]
            out.append(max(0.0, means[i] + share * (means[i + 1] - means[i]) + bridge))
    return out


def exact_dose(light: list[float], a_s: float, b_s: float) -> float:
    """J/m² between two moments, the light straight between its seconds."""
    return _upto(light, b_s) - _upto(light, a_s)


def _upto(light: list[float], s: float) -> float:
    whole, rest = int(s), s - int(s)
    total = sum((light[i] + light[i + 1]) / 2 for i in range(whole))
    return total + rest * (light[whole] + rest / 2 * (light[min(whole + 1, len(light) - 1)] - light[whole]))
