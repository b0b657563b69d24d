"""The only file that reads time.

Dose time is a count of microseconds that only goes forward, goes on while the computer sleeps (CLOCK_BOOTTIME),
and belongs to a journal: across reboots and changes of pace the journal's epochs join it up. Wall time labels
what happened and is never used to add up a dose.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Protocol

import msgspec

LEAST_AWAY_US = 61_000_000
MOST_AWAY_US = 12 * 3_600_000_000

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class Epoch(msgspec.Struct, frozen=True):
    """How dose time is tied to this host's boot: `dose = dose_anchor + pace x (boot time - boot_anchor)`.

    With a pace other than 1 the labels run from `wall_anchor_us` at the same pace; the anchors are kept in the
    journal so that a restart does not move them.
    """

    boot_id: str
    pace: float
    boot_anchor_us: int
    dose_anchor_us: int
    wall_anchor_us: int


class Clock(Protocol):
    """What the wiring sees of time. All values are whole microseconds except `real_s`."""

    pace: float

    def dose_us(self) -> int:
        """Dose time now."""

    def wall_us(self) -> int:
        """Wall time now, microseconds since 1970 UTC; a label only."""

    def real_s(self) -> float:
        """Seconds of this process's real time, for waits on files and networks."""


def host_boot_id() -> str:
    """An id that changes when the host boots."""
    try:
        return _BOOT_ID.read_text().strip()
    except OSError:
        return "unknown"


def host_boot_us() -> int:
    """Microseconds since the host booted, sleep included."""
    which = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
    return time.clock_gettime_ns(which) // 1000


def host_wall_us() -> int:
    """Wall time of the host, microseconds since 1970 UTC."""
    return time.time_ns() // 1000


def real_s() -> float:
    """Real monotonic seconds, for waits on files and networks."""
    return time.monotonic()


def pause(seconds: float) -> None:
    """Wait in real time."""
    time.sleep(seconds)


class HostClock:
    """The host's clock, seen through an epoch of the journal."""

    def __init__(self, epoch: Epoch) -> None:
        self.epoch = epoch
        self.pace = epoch.pace

    def dose_us(self) -> int:
        e = self.epoch
        since = host_boot_us() - e.boot_anchor_us
        return e.dose_anchor_us + (since if e.pace == 1 else int(since * e.pace))

    def wall_us(self) -> int:
        e = self.epoch
        if e.pace == 1:
            return host_wall_us()
        return e.wall_anchor_us + int((host_boot_us() - e.boot_anchor_us) * e.pace)

    def real_s(self) -> float:
        return real_s()


class FixedClock:
    """A clock that a test moves by hand."""

    def __init__(self, dose_us: int = 0, wall_us: int = 1_700_000_000_000_000, pace: float = 1.0) -> None:
        self._dose_us = dose_us
        self._wall_us = wall_us
        self.pace = pace

    def dose_us(self) -> int:
        return self._dose_us

    def wall_us(self) -> int:
        return self._wall_us

    def real_s(self) -> float:
        return self._dose_us / 1e6

    def advance(self, seconds: float) -> None:
        """Let both times pass."""
        self._dose_us += int(seconds * 1e6)
        self._wall_us += int(seconds * 1e6)


def next_epoch(last: Epoch | None, last_dose_us: int, last_wall_us: int, pace: float) -> Epoch:
    """The epoch for a daemon that starts now.

    The same boot and pace go on with the last epoch, so that time spent not running counts as time. After a
    reboot dose time goes on from the last dose time known plus what the wall clock says has passed. That is all that
    is left then, and it may be wrong: the stretch is taken as more than can be bridged and as half a day at most, so
    that it is always told as missing and a wrong clock invents no light.
    """
    boot, wall = host_boot_us(), host_wall_us()
    boot_id = host_boot_id()
    if last is None:
        return Epoch(boot_id, pace, boot, 0, wall)
    now = last.dose_anchor_us + int((boot - last.boot_anchor_us) * last.pace)
    if last.boot_id == boot_id and boot >= last.boot_anchor_us and now >= last_dose_us:
        if last.pace == pace:
            return last
        label = wall if last.pace == 1 else last.wall_anchor_us + (now - last.dose_anchor_us)
        return Epoch(boot_id, pace, boot, now, label if pace != 1 else wall)
    away = min(max(wall - last_wall_us, LEAST_AWAY_US), MOST_AWAY_US)
    return Epoch(boot_id, pace, boot, last_dose_us + away, wall)
