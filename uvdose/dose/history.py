"""The light of the last minutes: how strong it has been, and how far it strays from a straight line.

One point a second at most, fifteen minutes back, taken on whole seconds of dose time, so that the same readings
always give the same history however they were cut into runs.
"""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise

from ..units import US_PER_S

SPAN_US = 900 * US_PER_S
MINUTE_US = 60 * US_PER_S
LONGEST_STEP_US = 90 * US_PER_S
HOLE_S = 30.0  # points further apart have a hole between them, over which nothing is learnt


class LightHistory:
    """Light in the sensor's unit, zero not taken off, thinned to whole seconds."""

    def __init__(self) -> None:
        self._points: deque[tuple[int, float]] = deque()
        self._peaks: deque[tuple[int, float]] = deque()  # those that none after them outshines

    def add(self, t_us: int, value: float) -> None:
        """Take in one value; dose times must not fall."""
        points = self._points
        if points and t_us // US_PER_S == points[-1][0] // US_PER_S:
            return
        peaks, point = self._peaks, (t_us, value)
        points.append(point)
        while peaks and peaks[-1][1] <= value:
            peaks.pop()
        peaks.append(point)
        since_us = t_us - SPAN_US
        while points[0][0] < since_us:
            points.popleft()
        while peaks[0][0] < since_us:
            peaks.popleft()

    @property
    def peak(self) -> float:
        """The strongest light of the last fifteen minutes; minus infinity before any."""
        return self._peaks[0][1] if self._peaks else -math.inf

    def minutes(self, count: int = 15) -> list[float | None]:
        """Means of the last minutes, the newest first; None where less than half a minute of one is known.

        They end at the last point. The newest is known from its first point on. Straight between points, unless they
        lie further apart than a minute and a half.
        """
        if not self._points:
            return []
        areas, spans = [0.0] * count, [0.0] * count
        end_us, last = self._points[-1]
        for (t0, v0), (t1, v1) in pairwise(self._points):
            if t1 - t0 > LONGEST_STEP_US:
                continue
            newest, oldest = (end_us - t1) // MINUTE_US, (end_us - t0 - 1) // MINUTE_US
            if newest == oldest < count:
                areas[newest] += (v0 + v1) / 2 * (t1 - t0)
                spans[newest] += t1 - t0
                continue
            for k in range(newest, min(oldest, count - 1) + 1):
                a, b = max(t0, end_us - (k + 1) * MINUTE_US), min(t1, end_us - k * MINUTE_US)
                middle = v0 + (v1 - v0) * ((a + b) / 2 - t0) / (t1 - t0)
                areas[k] += middle * (b - a)
                spans[k] += b - a
        means = [area / span if span >= MINUTE_US / 2 else None for area, span in zip(areas, spans, strict=True)]
        means[0] = areas[0] / spans[0] if spans[0] else last
        return means

    def bridge_error(self, seconds: float) -> tuple[float, float]:
        """How far a straight bridge of this length would have been from the light, had it lain over the last minutes.

        Returns the root mean square error of the integral, unit·s, and its degrees of freedom (how many such
        bridges lie side by side in the history); (0, 0) where the history holds none.
        """
        squares, count, covered_s = 0.0, 0, 0.0
        for run in self._runs():
            ends = [p[0] / US_PER_S for p in run]
            sums = [0.0]
            for (t0, v0), (t1, v1) in pairwise(run):
                sums.append(sums[-1] + (t1 - t0) / US_PER_S * (v0 + v1) / 2)
            j = 0
            for i in range(len(run)):
                while j < len(run) and ends[j] - ends[i] < seconds:
                    j += 1
                if j == len(run):
                    break
                length = ends[j] - ends[i]
                error = sums[j] - sums[i] - length * (run[i][1] + run[j][1]) / 2
                squares += (error * seconds / length) ** 2
                count += 1
            covered_s += ends[-1] - ends[0]
        return (math.sqrt(squares / count), max(1.0, covered_s / seconds)) if count else (0.0, 0.0)

    def _runs(self) -> list[list[tuple[int, float]]]:
        """The points in stretches without a hole."""
        runs: list[list[tuple[int, float]]] = []
        for point in self._points:
            if not runs or (point[0] - runs[-1][-1][0]) / US_PER_S > HOLE_S:
                runs.append([])
            runs[-1].append(point)
        return runs
