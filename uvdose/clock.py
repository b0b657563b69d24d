"""The only file that reads time.

Dose time is a count of microseconds that only goes forward, goes on while the computer sleeps (CLOCK_BOOTTIME),
and belongs to a journal: across reboots and changes of pace the journal's epochs join it up. Wall time labels
what happened and is never used to add up a dose.
"""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime, timedelta
from datetime import date as Date
from datetime import time as Time
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import msgspec

from .model import Refusal

LEAST_AWAY_US = 61_000_000
MOST_AWAY_US = 12 * 3_600_000_000

_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
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

    def jump_wall(self, seconds: float) -> None:
        """Set the wall clock by hand, as a person or a time server may."""
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


def iso_utc(wall_us: int) -> str:
    """ISO 8601 with `Z` and milliseconds."""
    ms = wall_us // 1000
    base = datetime.fromtimestamp(ms // 1000, UTC).strftime("%Y-%m-%dT%H:%M:%S")
    return f"{base}.{ms % 1000:03d}Z"


def iso_utc_exact(wall_us: int) -> str:
    """The same, with microseconds where milliseconds do not tell it all."""
    return iso_utc(wall_us) if wall_us % 1000 == 0 else f"{iso_utc(wall_us)[:-1]}{wall_us % 1000:03d}Z"


def from_iso(text: str) -> int:
    """The inverse of `iso_utc` and `iso_utc_exact`, in microseconds. Without a zone it is local. Raises ValueError."""
    found = datetime.fromisoformat(text.replace("Z", "+00:00"))
    if found.tzinfo is None:
        found = found.replace(tzinfo=_bench_zone)
    return (found.astimezone(UTC) - _BEGIN) // timedelta(microseconds=1)


_bench_zone: ZoneInfo | None = None


def use_zone(name: str | None) -> None:
    """Local days and times are of this zone (IANA name) from now on; None: of the machine's. Raises ValueError."""
    global _bench_zone
    _bench_zone = None if name is None else _zone(name)


def zone_name() -> str | None:
    """The zone that local times go by; None for the machine's."""
    return None if _bench_zone is None else _bench_zone.key


def zone_fault(name: str) -> str:
    """What is wrong with the name of a zone; empty where nothing is."""
    try:
        _zone(name)
    except ValueError as err:
        return str(err)
    return ""


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        known = name.lower()
        near = next((zone for zone in available_timezones() if zone.lower() == known), None)
        mend = f"write {near}" if near else "give an IANA name such as Europe/Zurich, or leave it out"
        raise ValueError(f"{name!r} is not a time zone that this machine knows; {mend}") from None


def _local(wall_us: int) -> datetime:
    """What clocks at the bench show; without a tzinfo where the machine's zone is meant."""
    return datetime.fromtimestamp(wall_us // 1_000_000, _bench_zone).replace(microsecond=wall_us % 1_000_000)


def _instant_us(shown: datetime) -> int:
    return round(shown.timestamp()) * 1_000_000


def _midnight_us(day: Date) -> int:
    """When a local day begins. Of two midnights the second: only that one is followed by the day as a whole."""
    shown = datetime.combine(day, Time(), _bench_zone)
    return _instant_us(shown.replace(fold=1) if _is_twice(shown) else shown)


def _is_twice(shown: datetime) -> bool:
    """Whether the clocks show this time twice, since they are set back over it."""
    first, second = (shown.replace(fold=fold) for fold in (0, 1))
    return _instant_us(first) < _instant_us(second)


def day_bounds(text: str) -> tuple[int, int]:
    """First and past-the-last microsecond (wall, since 1970 UTC) of a local day of the bench, 23 to 25 hours apart.

    Every moment belongs to one day. Raises `Refusal` (code 2) for what is no day, and for one that the place left out.
    """
    try:
        day = Date.fromisoformat(text)
        if day.isoformat() != text:  # a week, or a day without its hyphens
            raise ValueError(text)
        first, last = _midnight_us(day), _midnight_us(day + timedelta(days=1))
    except (ValueError, OverflowError, OSError):
        raise Refusal(f"day {text!r}: give it as YYYY-MM-DD, such as 2026-06-21", 2) from None
    if last <= first:
        raise Refusal(f"day {text}: the calendar of {zone_name() or 'this place'} left it out", 2)
    return first, last


def local_date(wall_us: int) -> str:
    """The local day that a wall time belongs to, as YYYY-MM-DD: the one whose `day_bounds` hold it."""
    day = _local(wall_us).date()
    if wall_us < _midnight_us(day):  # between two midnights
        day -= timedelta(days=1)
    return day.isoformat()


def local_time(wall_us: int) -> str:
    """The local time of day of a wall time, as HH:MM:SS; with its offset from UTC where clocks show it twice that day.
    """
    shown = _local(wall_us)
    text = shown.strftime("%H:%M:%S")
    if not _is_twice(shown):
        return text
    offset = (shown if shown.tzinfo is not None else shown.astimezone()).utcoffset() or timedelta()
    minutes = round(offset.total_seconds() / 60)
    return f"{text}{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def local_moment(wall_us: int) -> str:
    """The local day and time of a wall time, as YYYY-MM-DD HH:MM:SS."""
    return f"{_local(wall_us).date().isoformat()} {local_time(wall_us)}"


_STAMP = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?Z")


def in_local(text: str) -> str:
    """A text with every UTC stamp in it as a person's clock shows it; what is no stamp stays."""
    return _STAMP.sub(lambda found: local_moment(from_iso(found[0])), text)


def at_local(text: str, now_wall_us: int) -> int:
    """The newest moment not after `now_wall_us` that a local clock showed as HH:MM or HH:MM:SS, or an ISO 8601 time.

    Raises ValueError for what is neither.
    """
    if "T" in text or "-" in text:
        return from_iso(text)
    parts = [int(part) for part in text.split(":")]
    if len(parts) not in (2, 3) or not (0 <= parts[0] < 24 and all(0 <= p < 60 for p in parts[1:])):
        raise ValueError(text)
    at = Time(parts[0], parts[1], parts[2] if len(parts) == 3 else 0)
    today = _local(now_wall_us).date()
    for day in (today, today - timedelta(days=1), today - timedelta(days=2)):
        for fold in (1, 0):
            found_us = _instant_us(datetime.combine(day, at.replace(fold=fold), _bench_zone))
            if found_us <= now_wall_us and _local(found_us).time() == at:  # not one that clocks leapt over
                return found_us
    raise ValueError(text)
