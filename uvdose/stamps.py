"""Wall time as text: UTC stamps in documents, local days and times of the bench's zone on screens. Reads no clock.

A wall time is whole microseconds since 1970 UTC, and a label only. Local is the zone of `use_zone`, else the machine's.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from datetime import date as Date
from datetime import time as Time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from .model import Refusal

_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)


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
