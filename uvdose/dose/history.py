"""The light of the last minutes: how strong it has been, and how much it moves.

One point a second at most, fifteen minutes back, taken on whole seconds of dose time, so that the same readings
always give the same history however they were cut into runs.
"""

from __future__ import annotations

import math
from collections import deque

from ..units import US_PER_S

SPAN_US = 900 * US_PER_S


class LightHistory:
    """Light in the sensor's unit, zero not taken off, thinned to whole seconds."""

    def __init__(self) -> None:
        self._points: deque[tuple[int, float]] = deque()
        self._peak = -math.inf

    def add(self, t_us: int, value: float) -> None:
        """Take in one value; dose times must not fall."""
        points = self._points
        if points and t_us // US_PER_S == points[-1][0] // US_PER_S:
            return
        points.append((t_us, value))
        lost_peak = False
        while points[0][0] < t_us - SPAN_US:
            lost_peak |= points.popleft()[1] >= self._peak
        self._peak = max(v for _, v in points) if lost_peak else max(self._peak, value)

    @property
    def peak(self) -> float:
        """The strongest light of the last fifteen minutes; minus infinity before any."""
        return self._peak

    def restlessness(self) -> float:
        """Mean square change of the light per second, unit² / s; 0 for a constant light or fewer than two points.

        The light is taken as a random walk between neighbours; points more than 30 s apart are passed over.
        """
        square = seconds = 0.0
        last: tuple[int, float] | None = None
        for point in self._points:
            if last is not None:
                dt_s = (point[0] - last[0]) / US_PER_S
                if dt_s <= 30:
                    square += (point[1] - last[1]) ** 2
                    seconds += dt_s
            last = point
        return square / seconds if seconds else 0.0
