"""Raw readings counted anew as arrays: it comes to what they come to one by one, to the last bit.

Registers telescope. Momentary values are added one after the other, as `numpy.cumsum` does. Wherever a reading may be
more than light (a hole, a reset, a leap, full scale, a value that stands, the mark of an act) it is taken by itself.
For commands that count much: numpy takes longer to load than a print of minutes to count.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable

import msgspec
import numpy as np

from ..dose.account import Sums
from ..dose.history import SPAN_US
from ..dose.integrator import HOLE_US, INTERVALS, Point, Track
from ..dose.lines import LEAP, LEAP_SLACK_MS, RESET_FLAG
from ..dose.response import Response
from ..dose.standing import JUDGED_RUN, LOOK_BACK
from ..exposure.exposure import Exposure
from ..model import Reading, RegisterReading, RegisterSegment
from ..units import US_PER_S
from .arrays import Block, Bools, Floats, Ints
from .judged import Judged
from .pack import REGISTER

LEAST = 16  # a shorter stretch is quicker taken one by one


class MomentArrays:
    """Momentary values with the one on which they follow: dose times and values, shapes (n + 1,). last_step: before."""

    def __init__(self, t_us: Ints, values: Floats, last_step: float) -> None:
        self.t0_us, self.t1_us = int(t_us[0]), int(t_us[-1])
        self._values = values
        self.strongest = float(values.max())
        self._seconds = seconds = np.diff(t_us) / US_PER_S
        steps = np.diff(values)
        self.last_step = float(steps[-1])
        # As `Track` reckons it of two neighbours, in the same order: else the last bit would differ.
        self._var = _times(steps * steps, seconds)
        self._var /= 12
        self._noise = -5 / 6 * steps
        self._noise[1:] *= steps[:-1]
        self._noise[0] *= last_step
        _times(self._noise, seconds)

    def on_top(self, zero: float, sums: Sums) -> Sums:
        """See `MomentRun`."""
        above = self._values - zero if zero else self._values
        integrals = above[:-1] + above[1:]
        integrals /= 2
        integrals *= self._seconds
        moments, var, var2, noise = sums
        return (
            _on_top(moments, integrals), _on_top(var, self._var), _on_top(var2, self._var * self._var),
            _on_top(noise, self._noise),
        )


def _times(parts: Floats, seconds: Floats) -> Floats:
    """Parts, in their own place, times seconds squared: as a product from the left."""
    parts *= seconds
    parts *= seconds
    return parts


def _on_top(total: float, parts: Floats) -> float:
    """Parts added to a sum one after the other."""
    first = parts[0]
    parts[0] = total + first
    found = float(np.add.accumulate(parts)[-1])
    parts[0] = first
    return found


class Counting:
    """Adds blocks to exposures, none of which began by light. track: of the sensor, watched as `Standing` does."""

    def __init__(self, track: Track, exposures: list[Exposure]) -> None:
        self.track = track
        self.exposures = exposures
        self.readings = 0
        self._behind: list[tuple[Ints, Floats]] = []  # taken, and not yet in what the track remembers

    def take(self, found: Iterable[Block | list[Judged]]) -> None:
        """Take in readings, in order. Raises ValueError where they are damaged."""
        for item in found:
            if isinstance(item, list):
                for response, t_us, reading in item:
                    self._one(response, t_us, reading)
            else:
                self._block(item)
        self._catch_up()

    def _one(self, response: Response, t_us: int, reading: Reading) -> None:
        self._catch_up()
        self.readings += 1
        if response is not self.track.response:
            self.track.respond(response)
        for segment in self.track.feed(reading, t_us):
            for exposure in self.exposures:
                exposure.add(segment, None)

    def _single(self, block: Block, at: int) -> None:
        self._one(block.response, int(block.t_us[at]), block.reading(at))

    def _block(self, block: Block) -> None:
        last = self.track.last
        begin = int(last is None or isinstance(last.reading, RegisterReading) != (block.kind == REGISTER))
        if begin:
            self._single(block, 0)
            last = None
        elif block.response is not self.track.response:
            self.track.respond(block.response)
        stops = [*_odd(block, last), len(block.t_us)]
        again = _repeats(block, last)
        runs = [*_long_runs(again), (len(block.t_us), len(block.t_us))]
        at = begin
        while at < len(block.t_us):
            stops = stops[bisect_left(stops, at) :]
            runs = runs[bisect_right([end for _, end in runs[:-1]], at) :]
            first, end = runs[0]
            quality = self.track.quality
            judged = quality.settled and (at < first or quality.stands)
            if at == stops[0] or not judged:
                self._single(block, at)
                at += 1
            else:
                to = min(stops[0], first if at < first else end)
                self._stretch(block, again, at, to)
                at = to

    def _stretch(self, block: Block, again: Bools, begin: int, end: int) -> None:
        """Readings of which none is odd, as one where no mark of an exposure lies among them."""
        if end - begin < LEAST:
            for at in range(begin, end):
                self._single(block, at)
            return
        last = self.track.last
        assert last is not None
        t_us = np.concatenate(((last.t_us,), block.t_us[begin:end]))
        values = np.concatenate(((last.value,), block.values[begin:end]))
        newest = block.reading(end - 1)
        light = _light(last, newest, t_us, values, self.track.last_step)
        if not all(exposure.takes_whole(light) for exposure in self.exposures):
            middle = (begin + end) // 2
            self._stretch(block, again, begin, middle)
            self._stretch(block, again, middle, end)
            return
        for exposure in self.exposures:
            if isinstance(light, RegisterSegment):
                exposure.add(light, None)
            else:
                exposure.add_many(light)
        self.readings += end - begin
        told = again[begin:end].tobytes()
        repeats = len(told) - len(told.rstrip(b"\1"))
        self.track.quality.go_on(len(told), repeats, int(t_us[-repeats - 1]), int(t_us[-1]))
        step = light.last_step if isinstance(light, MomentArrays) else self.track.last_step
        self.track.go_on(Point(int(t_us[-1]), float(values[-1]), newest), step)
        self._behind.append((t_us, values))
        while len(self._behind) > LOOK_BACK and self._behind[0][0][-1] < t_us[-1] - SPAN_US:
            self._behind.pop(0)

    def _catch_up(self) -> None:
        """Let the track remember what it did not see one by one: the last minutes, and the newest values."""
        behind, self._behind = self._behind, []
        if not behind:
            return
        since_us = int(behind[-1][0][-1]) - SPAN_US
        points: list[tuple[int, float]] = []
        intervals: list[int] = []
        newest: list[float] = []
        for t_us, values in behind:
            if t_us[-1] >= since_us:
                seconds = t_us // US_PER_S
                first = np.flatnonzero((seconds[1:] != seconds[:-1]) & (t_us[1:] >= since_us)) + 1
                points += zip(t_us[first].tolist(), values[first].tolist(), strict=True)
            intervals += np.diff(t_us[-INTERVALS - 1 :]).tolist()
            newest += values[1:][-LOOK_BACK:].tolist()
        self.track.remember(points, intervals, newest)


def _light(
    last: Point, newest: Reading, t_us: Ints, values: Floats, last_step: float
) -> RegisterSegment | MomentArrays:
    """What readings closed that follow on each other: t_us and values with those of the last before them."""
    if not isinstance(last.reading, RegisterReading) or not isinstance(newest, RegisterReading):
        return MomentArrays(t_us, values, last_step)
    ends = last.reading.uptime_ms, newest.uptime_ms, last.reading.register, newest.register
    return RegisterSegment(last.t_us, int(t_us[-1]), newest.boot, *ends, 0)


def _odd(block: Block, last: Point | None) -> list[int]:
    """Which readings may be more than the light since the one before. last: the one before them all; None leaves the
    first out, which has been taken.
    """
    full, first_us = block.response.full_scale, int(block.t_us[0]) if last is None else last.t_us
    steps = [(np.diff(block.t_us), int(block.t_us[0]) - first_us, 0, float(HOLE_US))]
    if block.kind == REGISTER:
        line = last.reading if last is not None else None
        told = msgspec.structs.astuple(line) if isinstance(line, RegisterReading) else block.columns[:, 0].tolist()
        leap = math.inf if full is None else LEAP * full * LEAP_SLACK_MS
        for name, most in (("boot", 0), ("sat_ms", 0), ("uptime_ms", HOLE_US // 1000), ("register", leap)):
            at = RegisterReading.__struct_fields__.index(name)
            column = block.columns[at]
            if most or column.min() != told[at] or column.max() != told[at]:
                steps.append((np.diff(column), int(column[0]) - told[at], 0, float(most)))
    odd: set[int] = set()
    for later, first, least, most in steps:
        if not least <= first <= most:
            odd.add(0)
        if len(later) and (later.min() < least or later.max() > most):
            odd.update((np.flatnonzero((later < least) | (later > most)) + 1).tolist())
    if full is not None and block.values.max() >= full:
        odd.update(np.flatnonzero(block.values >= full).tolist())
    if block.kind == REGISTER and (block.columns[-1] & RESET_FLAG).any():
        odd.update(np.flatnonzero(block.columns[-1] & RESET_FLAG).tolist())
    return sorted(odd)


def _repeats(block: Block, last: Point | None) -> Bools:
    """For each reading whether its value is that of the one before. last: as for `_odd`."""
    again = np.empty(len(block.values), np.bool_)
    again[1:] = block.values[1:] == block.values[:-1]
    again[0] = last is not None and block.values[0] == last.value
    return again


def _long_runs(again: Bools) -> list[tuple[int, int]]:
    """Where a value repeats so often that it is judged: from one reading to before another."""
    if b"\1" * JUDGED_RUN not in again.tobytes():
        return []
    edges = np.flatnonzero(np.diff(again, prepend=False, append=False))
    pairs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(begin, end) for begin, end in pairs if end - begin >= JUDGED_RUN]
