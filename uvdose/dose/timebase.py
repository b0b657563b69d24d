"""Timebase: a source's own time mapped to dose time by the least delay seen, never by arrival alone.

Whatever holds a message up (a busy radio, a full buffer) only ever makes it later. So the smallest difference
between arrival and the source's own time is the best estimate of the true offset. It rises again slowly, by what a
good clock drifts, and faster when every message of the last minute came later than it says, which is what a poor
clock looks like. A clock that was set is followed once several readings agree that it was.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right

from ..units import US_PER_S

GOOD_PPM, POOR_PPM = 500, 10_000
WRAP_32 = 1 << 32
HALF_32 = 1 << 31

STEP_US = 10 * US_PER_S  # further off than this the source's clock was set
AGREED = 5
AGREED_US = 4 * US_PER_S
BLOCK_US = 30 * US_PER_S
SLACK_US = US_PER_S // 20


def after_32(new: int, old: int) -> int:
    """How far `new` lies after `old`, both counters modulo 2^32; negative when it lies before."""
    return (new - old + HALF_32) % WRAP_32 - HALF_32


def uptime_after(new_ms: int, new_us: int, old_ms: int, old_us: int) -> int:
    """How far one uptime lies after another of the same boot, in ms, each modulo 2^32 and with its dose time.

    Dose time tells which turn of the counter it is: a print in plant juice lies longer than the 24.8 days of half one.
    """
    about_ms = (new_us - old_us) // 1000
    return about_ms + after_32(new_ms - old_ms, about_ms)


class SourceTime:
    """Maps one run of a source's clock, in microseconds of any origin, to dose time."""

    def __init__(self) -> None:
        self._offset_us: int | None = None
        self._arrival_us = 0
        self._last_us = 0
        self._block_us = 0
        self._least_lag_us = self._least_before_us = 0
        self._doubts: list[tuple[int, int]] = []

    def to_dose_us(self, source_us: int, arrival_us: int) -> int:
        """Dose time of a reading taken at `source_us` that arrived at `arrival_us`.

        Never before an earlier one, never after its arrival.
        """
        seen_us = arrival_us - source_us
        if self._offset_us is None:
            self._start(seen_us, arrival_us)
        lag_us = seen_us - self._rise(arrival_us)
        if abs(lag_us) > STEP_US and self._was_set(seen_us, arrival_us):
            self._start(seen_us, arrival_us)
        elif lag_us < -STEP_US:
            return self._out(arrival_us, arrival_us)  # ahead of its own arrival: not to be believed yet
        else:
            if abs(lag_us) <= STEP_US:
                self._doubts.clear()
            self._offset_us = min(self._offset(), seen_us)
            self._learn(max(0, lag_us), arrival_us)
        return self._out(source_us + self._offset(), arrival_us)

    def place_together(self, own_us: list[int], arrival_us: int) -> tuple[int, int, int] | None:
        """How readings that arrive together are placed: what is to be added to their own times, and the bounds in which
        these are held then. own_us: own times of the first of them, of `AGREED` where there are so many.

        So it is as `to_dose_us` would say, one after the other, where none steps further than ten seconds; None where
        it might do more than go by the offset. `keep_together` takes them in.
        """
        if self._offset_us is None:
            return None
        risen_us, seen_us = self._risen(arrival_us), arrival_us - own_us[0]
        if seen_us - risen_us < -STEP_US or self._are_set(own_us, arrival_us, risen_us):
            return None
        return min(risen_us, seen_us), self._last_us, arrival_us

    def _are_set(self, own_us: list[int], arrival_us: int, offset_us: int) -> bool:
        """Whether one of the first readings that arrive together would settle that the clock was set: no later one can,
        since those that settle it lie seconds apart.
        """
        doubts = self._doubts
        for source_us in own_us:
            if arrival_us - source_us - offset_us <= STEP_US:
                return False
            doubts = [*doubts[1 - AGREED :], (arrival_us, arrival_us - source_us)]
            if _agree(doubts, arrival_us):
                return True
        return False

    def keep_together(self, own_us: list[int], arrival_us: int, last_us: int) -> None:
        """Take in readings so placed: own times of the first and of the newest few, and the newest's dose time."""
        self.to_dose_us(own_us[0], arrival_us)
        offset_us = self._offset()
        seen_us = arrival_us - own_us[-1]
        if seen_us - offset_us <= STEP_US:
            self._doubts.clear()
        else:  # then so are all before it
            late = [(arrival_us, arrival_us - source_us) for source_us in own_us[1:]]
            self._doubts = [*self._doubts, *late][-AGREED:]
        self._offset_us = min(offset_us, seen_us)
        self._learn(max(0, seen_us - offset_us), arrival_us)
        self._last_us = last_us

    def restart(self) -> None:
        """Forget the offset: the source's clock was set, or stood still. Dose time still never goes back."""
        self._offset_us = None

    def _offset(self) -> int:
        assert self._offset_us is not None
        return self._offset_us

    def _start(self, seen_us: int, arrival_us: int) -> None:
        self._offset_us = seen_us
        self._block_us = self._arrival_us = max(self._arrival_us, arrival_us)
        self._least_lag_us = self._least_before_us = 0
        self._doubts.clear()

    def _out(self, t_us: int, arrival_us: int) -> int:
        self._last_us = max(self._last_us, min(t_us, arrival_us))
        return self._last_us

    def _rise(self, arrival_us: int) -> int:
        self._offset_us = self._risen(arrival_us)
        self._arrival_us = max(self._arrival_us, arrival_us)
        return self._offset_us

    def _risen(self, arrival_us: int) -> int:
        """The offset, risen by what the clock may have drifted since the last arrival."""
        late = min(self._least_lag_us, self._least_before_us) > SLACK_US
        since_us = max(0, arrival_us - self._arrival_us)
        return self._offset() + since_us * (POOR_PPM if late else GOOD_PPM) // 1_000_000

    def _learn(self, lag_us: int, arrival_us: int) -> None:
        """Keep the least lag of this half minute and of the one before."""
        if arrival_us - self._block_us >= BLOCK_US:
            self._block_us = arrival_us
            self._least_before_us, self._least_lag_us = self._least_lag_us, lag_us
        else:
            self._least_lag_us = min(self._least_lag_us, lag_us)

    def _was_set(self, seen_us: int, arrival_us: int) -> bool:
        """Whether several readings, over some seconds, agree on one new offset. A backlog that drains does not: its
        lag shrinks from reading to reading."""
        self._doubts = [*self._doubts[1 - AGREED :], (arrival_us, seen_us)]
        return _agree(self._doubts, arrival_us)


def _agree(doubts: list[tuple[int, int]], arrival_us: int) -> bool:
    if len(doubts) < AGREED or arrival_us - doubts[0][0] < AGREED_US:
        return False
    offsets = [seen for _, seen in doubts]
    return max(offsets) - min(offsets) < STEP_US // 10


def clamped(rising: list[int], least: int, most: int) -> list[int]:
    """Rising numbers, in the list that is given, none above `most` and then none below `least`."""
    if rising[-1] > most:
        above = bisect_right(rising, most)
        rising[above:] = [most] * (len(rising) - above)
    if rising[0] < least:
        below = bisect_left(rising, least)
        rising[:below] = [least] * below
    return rising


class NodeTime:
    """Maps a native node's uptime (32 bit, wraps) to dose time, one boot at a time."""

    def __init__(self) -> None:
        self._boot: int | None = None
        self._uptime_ms = 0
        self._unwrapped_ms = 0
        self._source = SourceTime()

    def to_dose_us(self, boot: int, uptime_ms: int, arrival_us: int, stood_still: bool) -> int:
        """Dose time of a line. stood_still: a reset kept the uptime, so that its clock lost the time of the reset."""
        if boot != self._boot:
            self._boot = boot
            self._unwrapped_ms = uptime_ms
            self._source.restart()
        else:
            self._unwrapped_ms += after_32(uptime_ms, self._uptime_ms)
            if stood_still:
                self._source.restart()
        self._uptime_ms = uptime_ms
        return self._source.to_dose_us(self._unwrapped_ms * 1000, arrival_us)

    def place_together(self, uptimes_ms: list[int], arrival_us: int) -> list[int] | None:
        """Dose times of lines of the same boot that arrived together, after the newest one: see `SourceTime`.

        uptimes_ms: rising, from the newest line's on, which is none of them.
        """
        ahead_ms = self._unwrapped_ms - self._uptime_ms
        first_us = [(ms + ahead_ms) * 1000 for ms in uptimes_ms[:AGREED]]
        place = self._source.place_together(first_us, arrival_us)
        if place is None:
            return None
        shift_us = ahead_ms * 1000 + place[0]
        return clamped([ms * 1000 + shift_us for ms in uptimes_ms], *place[1:])

    def keep_together(self, uptimes_ms: list[int], arrival_us: int, t_us: int) -> None:
        """Take in lines so placed: their uptimes, arrival, and the newest's dose time."""
        ahead_ms = self._unwrapped_ms - self._uptime_ms
        self._uptime_ms, self._unwrapped_ms = uptimes_ms[-1], uptimes_ms[-1] + ahead_ms
        told_ms = [uptimes_ms[0], *uptimes_ms[max(1, len(uptimes_ms) - AGREED) :]]
        self._source.keep_together([(ms + ahead_ms) * 1000 for ms in told_ms], arrival_us, t_us)
