"""Timebase: a source's own time mapped to dose time by the least delay seen, never by arrival alone.

Whatever holds a message up (a busy radio, a full buffer) only ever makes it later. So the smallest difference
between arrival and the source's own time is the best estimate of the true offset. It may rise again by at most
500 ppm of the time passed, which is what a poor node's clock drifts.
"""

from __future__ import annotations

DRIFT_PPM = 500
WRAP_32 = 1 << 32
_HALF_32 = 1 << 31


def after_32(new: int, old: int) -> int:
    """How far `new` lies after `old`, both counters modulo 2^32; negative when it lies before."""
    return (new - old + _HALF_32) % WRAP_32 - _HALF_32


class SourceTime:
    """Maps one run of a source's clock, in microseconds of any origin, to dose time."""

    def __init__(self) -> None:
        self._offset_us: int | None = None
        self._arrival_us = 0
        self._last_us = 0

    def to_dose_us(self, source_us: int, arrival_us: int) -> int:
        """Dose time of a reading taken at `source_us` that arrived at `arrival_us`; never before an earlier one."""
        seen = arrival_us - source_us
        if self._offset_us is None:
            self._offset_us = seen
        else:
            risen = self._offset_us + max(0, arrival_us - self._arrival_us) * DRIFT_PPM // 1_000_000
            self._offset_us = min(risen, seen)
        self._arrival_us = max(self._arrival_us, arrival_us)
        self._last_us = max(self._last_us, source_us + self._offset_us)
        return self._last_us

    def restart(self) -> None:
        """Forget the offset: the source's clock was set, or stood still. Dose time still never goes back."""
        self._offset_us = None


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
