"""How even the light of a lamp lies over a bed, from a grid of readings that one sensor is walked over."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np


class Evenness(msgspec.Struct, frozen=True):
    """relative: each place's light over the mean of all, row by row; None where none was read. min_over_mean and
    max_over_mean. stops: between the strongest and the weakest place. darkest: row and column of the weakest, from 0.
    drift: by what share the lamp changed during the walk, 0 where it was not looked at."""

    relative: tuple[tuple[float | None, ...], ...]
    min_over_mean: float
    max_over_mean: float
    stops: float
    darkest: tuple[int, int]
    drift: float


def evenness(rows: Sequence[Sequence[float | None]], first_again: float | None = None) -> Evenness:
    """The evenness of a bed, from readings row by row, walked in reading order at an even pace.

    first_again: the first place, read once more at the end; what the lamp changed meanwhile is then taken out along a
    straight line. Places may be left out (None). Raises `ValueError` for rows of different lengths, fewer than two
    readings, or one that is not above 0 or infinite: a place without light has no stops.
    """
    if len({len(row) for row in rows}) != 1:
        raise ValueError("evenness: give rows of one length, with None for a place that was not read")
    grid = np.array([[np.nan if v is None else v for v in row] for row in rows], dtype=np.float64)
    walked = np.isfinite(grid)
    if walked.sum() < 2 or np.any(grid[walked] <= 0) or np.isinf(grid).any():
        raise ValueError("evenness: give at least two readings, all above 0")
    drift = 0.0
    if first_again is not None:
        if not walked.flat[0] or not first_again > 0:
            raise ValueError("evenness: the first place must be read, and read again above 0")
        drift = first_again / float(grid.flat[0]) - 1
        grid = grid / (1 + drift * (np.arange(grid.size) / grid.size).reshape(grid.shape))
    relative = grid / grid[walked].mean()
    low, high = float(np.nanmin(relative)), float(np.nanmax(relative))
    row, column = np.unravel_index(int(np.nanargmin(relative)), grid.shape)
    shown = tuple(tuple(None if math.isnan(v) else float(v) for v in line) for line in relative)
    return Evenness(shown, low, high, math.log2(high / low), (int(row), int(column)), drift)
