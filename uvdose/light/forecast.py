"""How long a print will still take: a median and a range that holds the truth four times in five.

The light of the last minute goes on as a clear sky would, and what clouds then do to it is told by what they did over
the last fifteen minutes: how rough the light was, and whether it stands above or below its own mean. What follows from
these was fitted to a measured month (`forecast.json`, made by tests/bench/forecast.py). DEVELOPERS.md has how good it
is, and what was no better. Plain arithmetic: the daemon forecasts, and has no numpy.
"""

from __future__ import annotations

import importlib.resources
import json
import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from typing import Literal

import msgspec

from ..model import Left

MINUTES = 15  # of light before now that are looked at
LEAST_KNOWN = 10  # with fewer of them known the clouds are taken as unknown
# Without a place nobody knows when the sun sets: what would take longer is not told.
MOST_S = 6 * 3600.0
FLOOR = 0.02  # of the strongest minute, added before taking logarithms
LEAST_ROUGH = 0.003
LEAST_HALF = 0.01  # of the time: what the sensor's own noise and the sky's small changes leave in the steadiest light
STILL = 0.01  # roughness below which the median is left as it is
_FAINT = 0.05  # of the clear sky of now: a sun lower than that tells nothing about clouds

# Between these values what is fitted goes straight, beyond them it stays.
ROUGH = tuple(map(math.log, (0.006, 0.02, 0.06, 0.15, 0.4)))
SECONDS = tuple(map(math.log, (90.0, 360.0, 1500.0)))
OVER_15 = (-0.5, -0.15, 0.0, 0.15, 0.4)
OVER_3 = (-0.2, 0.0, 0.2)

Known = Literal["placed", "unplaced", "new"]
NOT_KNOWN = Left(None)


class SunPath(msgspec.Struct, frozen=True):
    """Clear-sky light at rising moments (Unix seconds), W/m², and its integral from the first, J/m².

    From an hour before the moment it was made for to the end of the light; where it is dark then, to that moment.
    """

    utc_s: tuple[float, ...]
    clear_w_m2: tuple[float, ...]
    total_j_m2: tuple[float, ...]

    def clear(self, utc_s: float) -> float:
        """Clear-sky light at a moment; none beyond the ends."""
        return _straight(utc_s, self.utc_s, self.clear_w_m2) if self.utc_s[0] <= utc_s <= self.utc_s[-1] else 0.0

    def has_set(self, utc_s: float) -> bool:
        """Whether it is dark after the light of the same day."""
        return self.clear_w_m2[-1] <= 0.0 < max(self.clear_w_m2) and utc_s >= self.utc_s[-1]

    def seconds_to(self, clear_j_m2: float, from_utc_s: float) -> float | None:
        """How long until this much clear-sky light has fallen; None where the day does not have as much left."""
        want = _straight(from_utc_s, self.utc_s, self.total_j_m2) + clear_j_m2
        if not want <= self.total_j_m2[-1]:
            return None
        return max(0.0, _straight(want, self.total_j_m2, self.utc_s) - from_utc_s)


class Clouds(msgspec.Struct, frozen=True):
    """What the last minutes say.

    rough: root mean square of the steps from minute to minute, in log light. over_15, over_3: log of the last minute
    over the mean of fifteen, of three. known: how many of the minutes are.
    """

    rough: float
    over_15: float
    over_3: float
    known: int


def clouds(minutes: Sequence[float]) -> Clouds:
    """From minute means, newest first and known, over a clear sky where that is known; NaN: unknown."""
    floor = FLOOR * max(m for m in minutes if math.isfinite(m)) + 1e-12
    logs = [math.log(max(m, 0.0) + floor) if math.isfinite(m) else math.nan for m in minutes]
    steps = [(a - b) ** 2 for a, b in pairwise(logs) if math.isfinite(a - b)]

    def over(count: int) -> float:
        known = [m for m in minutes[:count] if math.isfinite(m)]
        return logs[0] - math.log(max(sum(known) / len(known), 0.0) + floor)

    rough = math.sqrt(sum(steps) / max(len(steps), 1))
    return Clouds(rough, over(MINUTES), over(3), sum(map(math.isfinite, minutes)))


def forecast(minutes: Sequence[float], remaining: float, path: SunPath | None = None, now_utc_s: float = 0.0) -> Left:
    """Time left from the light of the last minutes and the dose that is left.

    minutes: means of up to fifteen minutes before now, newest first, NaN where unknown, in any unit of irradiance,
    zero taken off. remaining: dose in that unit times seconds. path: the sun's, where the place is known. All None
    where there is no light to go by.
    """
    if remaining <= 0:
        return Left(0.0, 0.0, 0.0)
    light = [float(m) if math.isfinite(m) else math.nan for m in minutes[:MINUTES]]
    if not light or not light[0] > 0 or not math.isfinite(seconds := remaining / light[0]):
        return NOT_KNOWN
    if path is not None:
        sky = [path.clear(now_utc_s - 60.0 * (k + 0.5)) for k in range(len(light))]
        if path.clear(now_utc_s) <= 0.0 or sky[0] <= 0.0:
            return Left(None, not_today=path.has_set(now_utc_s))
        light = [m / c if c > _FAINT * sky[0] else math.nan for m, c in zip(light, sky, strict=True)]
    low, median, high = _logs(clouds(light), seconds, path is not None)
    if path is None:
        ends = [seconds * math.exp(q) for q in (low, median, high)]
        return Left(ends[1], ends[0], ends[2]) if ends[1] <= MOST_S else NOT_KNOWN
    on_path = [path.seconds_to(remaining * math.exp(q) / light[0], now_utc_s) for q in (low, median, high)]
    return Left(on_path[1], on_path[0], on_path[2], not_today=on_path[1] is None)


def _logs(seen: Clouds, seconds: float, placed: bool) -> tuple[float, float, float]:
    """Log of the time over that at the light of now: low end, median, high end, in this order and apart."""
    by_time = _hats(math.log(seconds), SECONDS)
    if seen.known < LEAST_KNOWN:
        low, median, high = (sum(map(_times, row, by_time)) for row in fitted("new"))
    else:
        rough = _hats(math.log(seen.rough + LEAST_ROUGH), ROUGH)
        others = (by_time, _hats(seen.over_15, OVER_15), _hats(seen.over_3, OVER_3))
        weights = [r * o for other in others for r in rough for o in other]
        low, median, high = (sum(map(_times, row, weights)) for row in fitted("placed" if placed else "unplaced"))
        median *= seen.rough / (seen.rough + STILL)
    return min(low, median - LEAST_HALF), median, max(high, median + LEAST_HALF)


@cache
def fitted(known: Known) -> list[list[float]]:
    """Low end, median and high end: what each node counts, in tables of roughness by seconds, over_15 and over_3."""
    text = importlib.resources.files(__package__).joinpath("forecast.json").read_text(encoding="utf-8")
    rows: list[list[float]] = json.loads(text)[known]
    return rows


def _times(a: float, b: float) -> float:
    return a * b


def _hats(value: float, nodes: Sequence[float]) -> list[float]:
    """The share of each node, linear between them, summing to 1."""
    at = min(max(value, nodes[0]), nodes[-1])
    i = min(bisect_right(nodes, at) - 1, len(nodes) - 2)
    share = (at - nodes[i]) / (nodes[i + 1] - nodes[i])
    return [1 - share if k == i else share if k == i + 1 else 0.0 for k in range(len(nodes))]


def _straight(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Straight between points, the ends beyond them; xs must not fall."""
    i = bisect_right(xs, x)
    if i == 0 or i == len(xs):
        return ys[0 if i == 0 else -1]
    return ys[i - 1] + (ys[i] - ys[i - 1]) * (x - xs[i - 1]) / (xs[i] - xs[i - 1])
