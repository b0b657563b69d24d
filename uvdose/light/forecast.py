"""How long a print will still take: a median and a range that holds the truth four times in five.

The light of the last minute goes on as a clear sky would, and what clouds then do to it is told by what they did over
the last fifteen minutes: how rough the light was, and whether it stands above or below its own mean. What follows from
these was fitted to a measured month (`forecast.json`, made by tests/bench/forecast.py). DEVELOPERS.md has how good it
is, and what was no better.
"""

from __future__ import annotations

import importlib.resources
import json
import math
from collections.abc import Sequence
from functools import cache
from typing import Literal

import msgspec
import numpy as np

from ..model import Left
from .arrays import FloatArray, Numbers, numbers
from .path import SunPath

MINUTES = 15  # of light before now that are looked at
LEAST_KNOWN = 10  # with fewer of them known the clouds are taken as unknown
# Without a place nobody knows when the sun sets: what would take longer is not told.
MOST_S = 6 * 3600.0
_FLOOR = 0.02  # of the strongest minute, added before taking logarithms
_LEAST_HALF = 0.01  # of the time: what the sensor's own noise and the sky's small changes leave in the steadiest light
_STILL = 0.01  # roughness below which the median is left as it is
_FAINT = 0.05  # of the clear sky of now: a sun lower than that tells nothing about clouds

# Between these values what is fitted goes straight, beyond them it stays.
_ROUGH = np.log([0.006, 0.02, 0.06, 0.15, 0.4])
_SECONDS = np.log([90.0, 360.0, 1500.0])
_OVER_15 = np.array([-0.5, -0.15, 0.0, 0.15, 0.4])
_OVER_3 = np.array([-0.2, 0.0, 0.2])
BLOCKS = ((len(_ROUGH), len(_SECONDS)), (len(_ROUGH), len(_OVER_15)), (len(_ROUGH), len(_OVER_3)))

Known = Literal["placed", "unplaced", "new"]


NOT_KNOWN = Left(None)


class Clouds(msgspec.Struct, frozen=True):
    """What the last minutes say, each of the shape of the cases.

    rough: root mean square of the steps from minute to minute, in log light. over_15, over_3: log of the last minute
    over the mean of fifteen, of three. known: how many of the minutes are.
    """

    rough: FloatArray
    over_15: FloatArray
    over_3: FloatArray
    known: FloatArray


def clouds(minutes: FloatArray) -> Clouds:
    """From minute means along the last axis, newest first, over a clear sky where that is known; NaN: unknown."""
    there = np.isfinite(minutes)
    light = np.where(there, minutes, 0.0)
    floor = _FLOOR * light.max(axis=-1, keepdims=True) + 1e-12
    logs = np.log(np.maximum(light, 0.0) + floor)
    pairs = there[..., 1:] & there[..., :-1]
    steps = np.where(pairs, np.diff(logs, axis=-1), 0.0)
    rough = np.sqrt((steps**2).sum(-1) / np.maximum(pairs.sum(-1), 1))

    def over(count: int) -> FloatArray:
        known = np.maximum(there[..., :count].sum(-1), 1)
        return np.asarray(logs[..., 0] - np.log(light[..., :count].sum(-1) / known + floor[..., 0]))

    return Clouds(rough, over(MINUTES), over(3), numbers(there.sum(-1)))


def weights(seen: Clouds, seconds: Numbers) -> FloatArray:
    """What the fitted figures are multiplied with, along a new last axis; seconds: left at the light of now."""
    rough = _hats(np.log(seen.rough + 0.003), _ROUGH)
    others = (_hats(np.log(seconds), _SECONDS), _hats(seen.over_15, _OVER_15), _hats(seen.over_3, _OVER_3))
    tables = [rough[..., :, None] * other[..., None, :] for other in others]
    return np.concatenate([t.reshape(*t.shape[:-2], -1) for t in tables], axis=-1)


def weights_of_time(seconds: Numbers) -> FloatArray:
    """The same where the clouds are not known."""
    return _hats(np.log(seconds), _SECONDS)


def moved(seen: Clouds) -> FloatArray:
    """How much of the fitted median counts: none of it in steady light."""
    return np.asarray(seen.rough / (seen.rough + _STILL))


def forecast(
    minutes: Sequence[float], remaining: float, path: SunPath | None = None, now_utc_s: float = 0.0
) -> Left:
    """Time left from the light of the last minutes and the dose that is left.

    minutes: means of up to fifteen minutes before now, newest first, NaN where unknown, in any unit of irradiance,
    zero taken off. remaining: dose in that unit times seconds. path: the sun's, where the place is known. All None
    where there is no light to go by.
    """
    light = numbers(np.array([*minutes[:MINUTES], *[math.nan] * (MINUTES - len(minutes))]))
    if remaining <= 0:
        return Left(0.0, 0.0, 0.0)
    if not (math.isfinite(light[0]) and light[0] > 0 and math.isfinite(remaining)):
        return NOT_KNOWN
    level = float(light[0])
    if path is not None:
        sky = path.clear(np.asarray(now_utc_s - 60.0 * (np.arange(MINUTES) + 0.5), dtype=np.float64))
        if path.clear(now_utc_s) <= 0.0 or sky[0] <= 0.0:
            return Left(None, not_today=path.has_set)
        light = np.where(sky > _FAINT * sky[0], light / np.maximum(sky, 1e-12), math.nan)
    seconds = remaining / level
    if not math.isfinite(seconds):
        return NOT_KNOWN
    low, median, high = _logs(clouds(light), seconds, path is not None)
    if path is None:
        ends = [seconds * math.exp(q) for q in (low, median, high)]
        if ends[1] > MOST_S:
            return NOT_KNOWN
        return Left(ends[1], ends[0], ends[2])
    on_path = [path.seconds_to(remaining * math.exp(q) / float(light[0]), now_utc_s) for q in (low, median, high)]
    return Left(on_path[1], on_path[0], on_path[2], not_today=on_path[1] is None)


def _logs(seen: Clouds, seconds: float, placed: bool) -> tuple[float, float, float]:
    """Log of the time over that at the light of now: low end, median, high end, in this order and apart."""
    if seen.known < LEAST_KNOWN:
        low, median, high = fitted("new") @ weights_of_time(seconds)
    else:
        low, median, high = fitted("placed" if placed else "unplaced") @ weights(seen, seconds)
        median *= float(moved(seen))
    return min(low, median - _LEAST_HALF), float(median), max(high, median + _LEAST_HALF)


@cache
def fitted(known: Known) -> FloatArray:
    """Three rows, low end, median and high end, of what `weights` are multiplied with."""
    text = importlib.resources.files(__package__).joinpath("forecast.json").read_text(encoding="utf-8")
    return numbers(json.loads(text)[known])


def _hats(values: Numbers, nodes: FloatArray) -> FloatArray:
    """Linear between nodes: the share of each node along a new last axis, summing to 1."""
    at = np.clip(numbers(values), nodes[0], nodes[-1])[..., None]
    left = np.concatenate([[nodes[0] - 1.0], nodes[:-1]])
    right = np.concatenate([nodes[1:], [nodes[-1] + 1.0]])
    return np.asarray(np.clip(np.minimum((at - left) / (nodes - left), (right - at) / (right - nodes)), 0.0, 1.0))
