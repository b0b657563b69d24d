"""A print read without assuming an S: the rising curve nearest to the readings, and replicates of it."""

from __future__ import annotations

import msgspec
import numpy as np

from .curve import SHOULDER_SHARE, THRESHOLD_NET
from .estimate import FloatArray
from .monotone import Monotone, isotonic

GRID = 481


class Rising(msgspec.Struct, frozen=True):
    """One rising curve on an even grid of log10 doses. points: where it reaches HT, HS and full; NaN where not."""

    grid: FloatArray
    drawn: FloatArray
    points: tuple[float, float, float]

    @property
    def d_min(self) -> float:
        return float(self.drawn[0])

    @property
    def d_net(self) -> float:
        return float(self.drawn[-1] - self.drawn[0])


def fit_rising(x: FloatArray, y: FloatArray, full_below: float) -> Rising:
    """Isotonic regression, then a monotone cubic through the middles of its levels and the two ends."""
    doses, counts = np.unique(x, return_counts=True)
    means = np.array([y[x == dose].mean() for dose in doses])
    levels = isotonic(means, counts.astype(np.float64))
    starts = np.flatnonzero(np.concatenate(([True], np.diff(levels) > 0)))
    ends = np.concatenate((starts[1:], [len(levels)])) - 1
    middles = (doses[starts] + doses[ends]) / 2
    middles[0], middles[-1] = doses[ends[0]], doses[starts[-1]]
    knots, heights = middles, levels[starts]
    grid = np.linspace(doses[0], doses[-1], GRID)
    drawn = Monotone(knots, heights).value(grid) if len(knots) > 1 else np.full(GRID, heights[0])
    net = drawn[-1] - drawn[0]
    wanted = (drawn[0] + THRESHOLD_NET, drawn[0] + SHOULDER_SHARE * net, drawn[-1] - full_below)
    return Rising(grid, drawn, (_reach(grid, drawn, wanted[0]), _reach(grid, drawn, wanted[1]),
                                _reach(grid, drawn, wanted[2])))


def structure(residuals: FloatArray) -> FloatArray:
    """How alike neighbouring residuals are: their correlation at lag one, row by row; near 0 where the fit is right."""
    rows = np.atleast_2d(residuals)
    squares = np.maximum(np.sum(rows**2, axis=1), 1e-30)
    return np.asarray(np.sum(rows[:, 1:] * rows[:, :-1], axis=1) / squares)


def _reach(grid: FloatArray, drawn: FloatArray, density: float) -> float:
    """The least dose at which the drawn curve reaches a density."""
    if not drawn[0] < density <= drawn[-1]:
        return float("nan")
    i = int(np.searchsorted(drawn, density, side="left"))
    share = (density - drawn[i - 1]) / (drawn[i] - drawn[i - 1])
    return float(grid[i - 1] + share * (grid[i] - grid[i - 1]))
