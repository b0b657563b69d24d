"""Curves that only rise, with no shape assumed: isotonic regression, and a monotone cubic through its points.

Sources: pool adjacent violators as in Busing 2022, "Monotone Regression: A Simple and Fast O(n) PAVA Implementation",
J. Stat. Softw. 102 (preprint 2020); monotone cubic after Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17, with the
harmonic-mean slopes of Fritsch & Butland 1984.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .estimate import FloatArray


def isotonic(y: Sequence[float] | FloatArray, weights: Sequence[float] | FloatArray | None = None) -> FloatArray:
    """The values that never fall and lie nearest to y in (weighted) squares. Weights must be above zero."""
    heights: list[float] = []
    masses: list[float] = []
    counts: list[int] = []
    for value, weight in zip(y, [1.0] * len(y) if weights is None else weights, strict=True):
        height, mass, count = float(value), float(weight), 1
        while heights and heights[-1] >= height:
            other, more = heights.pop(), masses.pop()
            height = (height * mass + other * more) / (mass + more)
            mass += more
            count += counts.pop()
        heights.append(height)
        masses.append(mass)
        counts.append(count)
    return np.repeat(np.array(heights, dtype=np.float64), counts)


class Monotone:
    """A monotone cubic through points: between two of them it never leaves their range.

    x must rise, y never fall (as `isotonic` leaves it). Outside the points the value is that of the nearer end.
    """

    def __init__(self, x: Sequence[float] | FloatArray, y: Sequence[float] | FloatArray) -> None:
        self.x = np.asarray(x, dtype=np.float64)
        self.y = np.asarray(y, dtype=np.float64)
        if len(self.x) < 2 or len(self.x) != len(self.y) or np.any(np.diff(self.x) <= 0):
            raise ValueError("a monotone curve needs at least two points with x rising")
        self.slopes = _slopes(self.x, self.y)

    def value(self, at: float | FloatArray) -> FloatArray:
        """The curve at one or many x."""
        points = np.clip(np.asarray(at, dtype=np.float64), self.x[0], self.x[-1])
        i = np.clip(np.searchsorted(self.x, points, side="right") - 1, 0, len(self.x) - 2)
        h = self.x[i + 1] - self.x[i]
        t = (points - self.x[i]) / h
        rest = 1 - t
        return np.asarray(
            self.y[i] * (1 + 2 * t) * rest**2
            + self.y[i + 1] * t**2 * (3 - 2 * t)
            + h * t * rest * (self.slopes[i] * rest - self.slopes[i + 1] * t)
        )


def _slopes(x: FloatArray, y: FloatArray) -> FloatArray:
    h = np.diff(x)
    rise = np.diff(y) / h
    if len(rise) == 1:
        return np.repeat(rise, 2)
    slopes = np.zeros(len(x))
    before, after = rise[:-1], rise[1:]
    turning = before * after <= 0
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = (w1 + w2) / (w1 / before + w2 / after)
    slopes[1:-1] = np.where(turning, 0.0, inner)
    slopes[0] = _end_slope(h[0], h[1], rise[0], rise[1])
    slopes[-1] = _end_slope(h[-1], h[-2], rise[-1], rise[-2])
    return slopes


def _end_slope(h0: float, h1: float, rise0: float, rise1: float) -> float:
    """Three-point slope at an end, held within what keeps the end piece monotone."""
    slope = ((2 * h0 + h1) * rise0 - h0 * rise1) / (h0 + h1)
    if slope * rise0 <= 0:
        return 0.0
    if rise0 * rise1 <= 0 and abs(slope) > 3 * abs(rise0):
        return 3 * rise0
    return float(slope)
