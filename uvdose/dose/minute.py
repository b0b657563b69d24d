"""Light added up by wall minutes: what a day and a year are shown from.

Everything is in the sensor's unit with its zero still in it, so that scale and zero can be applied later: irradiance
times time is `factor x (light - zero x seconds)`. Measured and bridged light are kept apart. Sums of neighbouring
blocks of readings of one sensor may be added, for the light between two readings belongs to the later one's block.
What is a hole, and what a node's register tells, follows the integrator; only the usual interval is that of the block.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TypeVar

import msgspec

from ..model import MeanReading, MomentReading, Reading, RegisterReading
from ..units import US_PER_S
from .integrator import BRIDGE_US, HOLE_INTERVALS, HOLE_US, reading_value
from .lines import is_leap, told_between
from .timebase import STEP_US, WRAP_32

MINUTE_US = 60 * US_PER_S
TELLS = 5  # readings that tell how far apart they usually come
MOST = 1e100  # a value beyond it is no light, and its sums would be no numbers
Row = tuple[int, Reading]
N = TypeVar("N", int, float)


class MinuteSums(msgspec.Struct, frozen=True, gc=False):
    """One minute of one sensor under one set of settings.

    n, total, strongest: number, sum and maximum of the values read in it (strongest None: none was); a mean belongs to
    the minute in which its stretch ends. first_us, last_us: when the first and the last came, microseconds into the
    minute; a mean's stretch may end with it. full_n: how many stood at full scale.
    measured, bridged: light in unit-seconds, zero not taken off, over measured_us and bridged_us, of a register by the
    node's own clock, so that they may come to more than a minute. full_us: how much of that was at full scale, where
    light is a lower bound.
    """

    n: int = 0
    total: float = 0.0
    strongest: float | None = None
    first_us: int | None = None
    last_us: int | None = None
    full_n: int = 0
    measured: float = 0.0
    bridged: float = 0.0
    measured_us: int = 0
    bridged_us: int = 0
    full_us: int = 0

    def __add__(self, more: MinuteSums) -> MinuteSums:
        """The sums of both."""
        return MinuteSums(
            self.n + more.n, self.total + more.total, _of(max, self.strongest, more.strongest),
            _of(min, self.first_us, more.first_us), _of(max, self.last_us, more.last_us), self.full_n + more.full_n,
            self.measured + more.measured, self.bridged + more.bridged, self.measured_us + more.measured_us,
            self.bridged_us + more.bridged_us, self.full_us + more.full_us,
        )


def minute_sums(
    rows: Sequence[Row], shift_us: int, before: Row | None, full_scale: float | None, usual_us: int = 0
) -> dict[int, MinuteSums]:
    """Sums of a block of readings of one kind, in the order of dose time, by minutes since 1970 (UTC).

    shift_us: wall time less dose time. before: the reading before the first, in the same unit; None where there is
    none, or nothing may be told between the two. usual_us: the usual interval of the block that ends with it, by which
    one goes that has too few readings to tell its own.
    """
    adder = _Adder(shift_us, full_scale, usual_of(rows) if len(rows) >= TELLS or not usual_us else usual_us)
    for row in [before, *rows] if before is not None else rows:
        if not -MOST < reading_value(row[1]) < MOST:
            continue
        adder.add(row, row is not before)
    return adder.minutes()


def usual_of(rows: Sequence[Row]) -> int:
    """The usual interval of a block of readings, microseconds: their median; 0 of a single one."""
    steps = sorted(b[0] - a[0] for a, b in pairwise(rows))
    return steps[len(steps) // 2] if steps else 0


class _Minute:
    __slots__ = MinuteSums.__struct_fields__

    def __init__(self) -> None:
        self.n = self.full_n = self.measured_us = self.bridged_us = self.full_us = 0
        self.total = self.measured = self.bridged = 0.0
        self.strongest: float | None = None
        self.first_us: int | None = None
        self.last_us: int | None = None


class _Adder:
    def __init__(self, shift_us: int, full_scale: float | None, usual_us: int) -> None:
        self._shift_us = shift_us
        self._full = full_scale
        self._hole_us = max(HOLE_US, HOLE_INTERVALS * usual_us)
        self._last: Row | None = None
        self._minutes: dict[int, _Minute] = {}

    def minutes(self) -> dict[int, MinuteSums]:
        fields = MinuteSums.__struct_fields__
        return {k: MinuteSums(*[getattr(m, f) for f in fields]) for k, m in self._minutes.items()}

    def _at(self, number: int) -> _Minute:
        found = self._minutes.get(number)
        if found is None:
            found = self._minutes[number] = _Minute()
        return found

    def add(self, row: Row, is_mine: bool) -> None:
        """The next reading. is_mine: it belongs to this block, and is not the one before."""
        last, self._last = self._last, row
        t_us, reading = row
        if last is not None and t_us >= last[0]:
            self._between(last, row)
        elif isinstance(reading, MeanReading) and is_mine:
            self._mean(None, t_us, reading)
        if is_mine:
            self._read(t_us + self._shift_us, reading_value(reading), isinstance(reading, MeanReading))

    def _read(self, wall_us: int, value: float, is_mean: bool) -> None:
        number = (wall_us - is_mean) // MINUTE_US
        minute, into_us = self._at(number), wall_us - number * MINUTE_US
        minute.n += 1
        minute.total += value
        if minute.strongest is None or value > minute.strongest:
            minute.strongest = value
        if minute.first_us is None or into_us < minute.first_us:
            minute.first_us = into_us
        if minute.last_us is None or into_us > minute.last_us:
            minute.last_us = into_us
        minute.full_n += self._full is not None and value >= self._full

    def _between(self, p0: Row, p1: Row) -> None:
        (t0_us, r0), (t1_us, r1) = p0, p1
        if isinstance(r0, RegisterReading) and isinstance(r1, RegisterReading):
            leapt = is_leap(r0, r1, self._full)
            told = None if leapt else told_between(t0_us, r0, t1_us, r1, self._hole_us)
            begin_us = t1_us if told is None else told.begin_us
            if begin_us > t0_us and begin_us - t0_us <= BRIDGE_US:
                self._straight(t0_us, begin_us, reading_value(r0), reading_value(r1), True, 0)
            if told is not None:
                own_us = (r1.uptime_ms - told.uptime0_ms) % WRAP_32 * 1000
                self._counted(begin_us, t1_us, (r1.register - told.register0) / 1000, told.sat_ms * 1000, own_us)
        elif isinstance(r1, MeanReading):
            self._mean(p0, t1_us, r1)
        elif isinstance(r0, MomentReading) and isinstance(r1, MomentReading):
            pause_us = t1_us - t0_us
            if 0 < pause_us <= self._hole_us or 0 < pause_us <= BRIDGE_US:
                is_full = self._full is not None and max(r0.value, r1.value) >= self._full
                full_us = pause_us if is_full else 0
                self._straight(t0_us, t1_us, r0.value, r1.value, pause_us > self._hole_us, full_us)

    def _mean(self, p0: Row | None, end_us: int, r1: MeanReading) -> None:
        """A mean over a stretch: flat. What lies between it and the reading before is a hole, however short."""
        begin_us = end_us - r1.span_us if p0 is None else max(p0[0], end_us - r1.span_us)
        if p0 is not None and 0 < begin_us - p0[0] <= BRIDGE_US:
            self._straight(p0[0], begin_us, reading_value(p0[1]), r1.value, True, 0)
        if begin_us < end_us:
            is_full = self._full is not None and r1.value >= self._full
            self._straight(begin_us, end_us, r1.value, r1.value, False, end_us - begin_us if is_full else 0)

    def _counted(self, t0_us: int, t1_us: int, light: float, full_us: int, own_us: int) -> None:
        """What a register counted. Over a hole the whole is exact, but when it fell is not known: it is bridged.

        own_us: how long by the node's clock, which the light is a mean over: lines that were held up come closer to
        each other than they were told (the first ones after a start, and all where time runs faster), and over the
        time between them the light would be stronger than any that was read.
        """
        span_us = t1_us - t0_us
        if span_us > self._hole_us and span_us > BRIDGE_US:
            return
        lasted_us = own_us if abs(own_us - span_us) <= STEP_US else span_us  # beyond it the clock was set, or stood
        if span_us == 0:
            minute = self._at((t1_us + self._shift_us) // MINUTE_US)
            minute.measured += light
            minute.measured_us += lasted_us
            return
        mean = light / (span_us / US_PER_S)
        self._straight(t0_us, t1_us, mean, mean, span_us > self._hole_us, min(full_us, lasted_us), lasted_us)

    def _straight(
        self, t0_us: int, t1_us: int, v0: float, v1: float, bridged: bool, full_us: int, lasted_us: int | None = None
    ) -> None:
        """Light on a straight line between two moments, cut at each full minute. lasted_us: how long it lasted; as long
        as between the two where that is None."""
        span_us, slope = t1_us - t0_us, (v1 - v0) / (t1_us - t0_us)
        a_us, va, end_us = t0_us, v0, t1_us + self._shift_us
        while a_us < t1_us:
            number = (a_us + self._shift_us) // MINUTE_US
            next_us = (number + 1) * MINUTE_US
            b_us = t1_us if end_us <= next_us else next_us - self._shift_us
            vb = v1 if b_us == t1_us else v0 + slope * (b_us - t0_us)
            minute = self._at(number)
            light = (b_us - a_us) / US_PER_S * ((va + vb) / 2)
            part_us = b_us - a_us
            if lasted_us is not None:
                part_us = lasted_us * (b_us - t0_us) // span_us - lasted_us * (a_us - t0_us) // span_us
            if bridged:
                minute.bridged += light
                minute.bridged_us += part_us
            else:
                minute.measured += light
                minute.measured_us += part_us
            if full_us:
                minute.full_us += full_us * (b_us - t0_us) // span_us - full_us * (a_us - t0_us) // span_us
            a_us, va = b_us, vb


def _of(choose: Callable[[N, N], N], a: N | None, b: N | None) -> N | None:
    return b if a is None else a if b is None else choose(a, b)
