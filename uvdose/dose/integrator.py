"""Integrator: readings of one sensor, in order, become segments of light.

A register gives the light between two lines as an exact difference, whatever was lost between them. Momentary
values are joined by straight lines (trapezoid rule), means over a stretch are held over it. A register that rose by
more than light at full scale would have made it is believed in nothing of that stretch. A pause longer than three
times the usual interval and longer than ten seconds is a hole: bridged up to sixty seconds, missing beyond (see
DEVELOPERS.md, rules of honesty).
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from operator import sub

import msgspec

from ..model import Kind, MeanReading, MomentReading, MomentSegment, Reading, RegisterReading, RegisterSegment, Segment
from ..units import PHYSICAL_DOSE, US_PER_S
from .history import LightHistory
from .lines import is_leap, told_between
from .quality import Quality
from .response import Response
from .standing import Standing
from .timebase import WRAP_32

HOLE_US = 10 * US_PER_S
BRIDGE_US = 60 * US_PER_S
HOLE_INTERVALS = 3
INTERVALS = 9


class Point(msgspec.Struct, frozen=True, gc=False):
    """The newest reading: its dose time, its value in the sensor's unit (zero not taken off), the reading itself."""

    t_us: int
    value: float
    reading: Reading


class Track:
    """The stream of one sensor, in the sensor's unit. Everything it decides follows from the last readings alone.

    pace: how many times faster than real time dose time runs; a hole is never shorter than a quarter of a real
    second, since arrival times jitter by that much on a busy machine. watch: what is told of the values; a count of old
    readings needs no more than `Standing`.
    """

    def __init__(self, response: Response, pace: float = 1.0, watch: type[Standing] = Quality) -> None:
        self.response = response
        self.history = LightHistory()
        self.last: Point | None = None
        self._floor_us = int(pace * US_PER_S / 4)
        self.quality = watch(*_judged_by(response))
        self._steps: deque[int] = deque(maxlen=INTERVALS)
        self._usual_us = 0
        self._last_step = 0.0

    def respond(self, response: Response) -> None:
        """The sensor's settings are others from the next reading on. Segments hold raw values: none that was made
        changes; only what is told of the values' quality goes by the settings.
        """
        self.response = response
        self.quality.respond(*_judged_by(response))

    def feed(self, reading: Reading, t_us: int) -> list[Segment]:
        """The light between the last reading and this one; empty for the first. t_us must not fall."""
        point = Point(t_us, reading_value(reading), reading)
        last, self.last = self.last, point
        segments: list[Segment] = []
        if isinstance(reading, MeanReading):
            segments = self._mean(last, point, reading.span_us)
        elif last is not None:
            if isinstance(reading, RegisterReading) and isinstance(last.reading, RegisterReading):
                segments = self._register(last, last.reading, point, reading)
            else:
                segments = [self._moment(last, point)]
        if last is not None:
            self._steps.append(t_us - last.t_us)
            self._usual_us = sorted(self._steps)[len(self._steps) // 2]
        self.history.add(t_us, point.value)
        saturated = self.is_saturated(reading) or any(isinstance(s, RegisterSegment) and s.sat_ms for s in segments)
        if "frozen" in self.quality.add(t_us, point.value, saturated) and last is not None:
            # A value that stands still is no measurement: what fell meanwhile is only guessed from it.
            peak = self._peak(last, point)
            return [MomentSegment(last.t_us, t_us, last.value, point.value, Kind.MISSING, 0.0, 1.0, peak)]
        return segments

    def add_together(self, t_us: list[int], values: list[float], newest: RegisterReading) -> None:
        """Take in lines that were found to go `together`: their dose times and values, and the newest of them."""
        assert self.last is not None
        known = [self.last.t_us, *t_us] if len(t_us) <= INTERVALS else t_us[-INTERVALS - 1 :]
        self._steps.extend(map(sub, known[1:], known))
        self._usual_us = sorted(self._steps)[len(self._steps) // 2]
        at = 0
        while at < len(t_us):
            self.history.add(t_us[at], values[at])
            at = bisect_left(t_us, (t_us[at] // US_PER_S + 1) * US_PER_S, at)
        self.quality.add_sound(t_us, values)
        self.last = Point(t_us[-1], values[-1], newest)

    @property
    def last_step(self) -> float:
        """The step of the newest momentary value from the one before, 0 after a hole."""
        return self._last_step

    def go_on(self, newest: Point, last_step: float) -> None:
        """Readings were taken together: the newest of them. What else they tell comes with `remember`."""
        self.last, self._last_step = newest, last_step

    def remember(self, points: list[tuple[int, float]], intervals_us: list[int], values: list[float]) -> None:
        """What readings taken together leave behind: the first of each second, and the newest few of all."""
        for t_us, value in points:
            self.history.add(t_us, value)
        self._steps.extend(intervals_us)
        self._usual_us = sorted(self._steps)[len(self._steps) // 2]
        self.quality.remember(values)

    @property
    def usual_us(self) -> int:
        """The usual interval between readings: the median of the last nine; 0 while unknown."""
        return self._usual_us

    @property
    def reach_us(self) -> int:
        """How far beyond the last reading its value is taken as the light of now; further on light is missing."""
        return min(self.hole_us, max(US_PER_S, HOLE_INTERVALS * self._usual_us, self._floor_us))

    @property
    def hole_us(self) -> int:
        """A pause longer than this is a hole."""
        return max(HOLE_US, HOLE_INTERVALS * self._usual_us, self._floor_us)

    def is_saturated(self, reading: Reading) -> bool:
        """Whether the reading itself lies at or above full scale."""
        full = self.response.full_scale
        if full is None:
            return False
        return reading_value(reading) >= full

    def _register(self, p0: Point, r0: RegisterReading, p1: Point, r1: RegisterReading) -> list[Segment]:
        if is_leap(r0, r1, self.response.full_scale):
            self.quality.leapt()
            return [self._hole(p0, p1, p0.t_us, p1.t_us)] if p1.t_us > p0.t_us else []
        told = told_between(p0.t_us, r0, p1.t_us, r1, self.hole_us)
        if told is None:
            return [self._hole(p0, p1, p0.t_us, p1.t_us)] if p1.t_us > p0.t_us else []
        held = self._counted(p0, p1, told.begin_us, told.uptime0_ms, told.register0, told.sat_ms)
        return [self._hole(p0, p1, p0.t_us, told.begin_us), held] if told.begin_us > p0.t_us else [held]

    def _counted(
        self, p0: Point, p1: Point, begin_us: int, uptime0_ms: int, register0: int, sat_ms: int
    ) -> RegisterSegment:
        """What a node counted from a moment after the last line on."""
        r1 = p1.reading
        assert isinstance(r1, RegisterReading)
        unread = None
        if p1.t_us - begin_us > self.hole_us:
            mean = (r1.register - register0) / max(1, (r1.uptime_ms - uptime0_ms) % WRAP_32)
            hole = self._hole(p0, p1, begin_us, p1.t_us)
            unread = msgspec.structs.replace(hole, value0=mean, value1=mean)
        return RegisterSegment(
            begin_us, p1.t_us, r1.boot, uptime0_ms, r1.uptime_ms, register0, r1.register, sat_ms, unread
        )

    def _hole(self, p0: Point, p1: Point, t0_us: int, t1_us: int) -> MomentSegment:
        """A stretch that nothing measured: straight between the values at its ends.

        Its variance is that of a straight bridge over the light of the last minutes; where the light at its ends
        differs by more than that, of a step at an unknown moment: (step x length)² / 12.
        """
        seconds = (t1_us - t0_us) / US_PER_S
        if t1_us - t0_us > BRIDGE_US:
            kind, var, dof = Kind.MISSING, 0.0, 1.0
        else:
            kind = Kind.BRIDGED
            error, dof = self.history.bridge_error(seconds)
            step_var = ((p1.value - p0.value) * seconds) ** 2 / 12
            var, dof = max(error * error, step_var), max(dof, 1.0)
        return MomentSegment(t0_us, t1_us, p0.value, p1.value, kind, var, dof, self._peak(p0, p1))

    def _moment(self, p0: Point, p1: Point) -> MomentSegment:
        pause_us = p1.t_us - p0.t_us
        if pause_us > self.hole_us:
            self._last_step = 0.0
            return self._hole(p0, p1, p0.t_us, p1.t_us)
        seconds = pause_us / US_PER_S
        step = p1.value - p0.value
        # A random walk pinned at both ends strays from the straight line by (step² dt²) / 12 on average. White noise
        # shows as steps that take each other back; it adds its own variance, which -5/6 of their product tells.
        walk = step * step * seconds * seconds / 12
        noise = -5 / 6 * step * self._last_step * seconds * seconds
        self._last_step = step
        return MomentSegment(
            p0.t_us, p1.t_us, p0.value, p1.value, Kind.MEASURED, walk, 1.0, max(p0.value, p1.value), noise
        )

    def _mean(self, p0: Point | None, p1: Point, span_us: int) -> list[Segment]:
        """A mean over a stretch: flat, since its integral is what is known. What lies before the stretch is a hole."""
        begin_us = p1.t_us - span_us if p0 is None else max(p0.t_us, p1.t_us - span_us)
        flat = MomentSegment(begin_us, p1.t_us, p1.value, p1.value, Kind.MEASURED, peak=p1.value)
        found: list[Segment] = [flat] if begin_us < p1.t_us else []
        return [self._hole(p0, p1, p0.t_us, begin_us), *found] if p0 is not None and begin_us > p0.t_us else found

    def _peak(self, p0: Point, p1: Point) -> float:
        return max(self.history.peak, p0.value, p1.value)


def _judged_by(response: Response) -> tuple[float, float | None, float | None]:
    return response.zero, response.full_scale, response.factor if response.unit == PHYSICAL_DOSE else None


def reading_value(reading: Reading) -> float:
    """The value of a reading in the sensor's unit: the mean level since the last line, or the momentary value."""
    return reading.value if isinstance(reading, MomentReading) else reading.level_milli / 1000
