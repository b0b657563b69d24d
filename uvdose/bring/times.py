"""A time as a recording writes it, to microseconds since 1970 UTC. What could be two moments is refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from ..model import Refusal
from ..stamps import zone_fault
from ..units import US_PER_S

_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
_US = timedelta(microseconds=1)
FIRST_S, LAST_S = 1e8, 4.2e9  # 1973 to 2103: other numbers are no Unix seconds, and other dates slips of a logger
LAST_US = int(LAST_S) * US_PER_S


def zone_of(name: str | None) -> ZoneInfo | None:
    """A time zone by its name, such as Europe/Zurich. Raises `Refusal` (code 2)."""
    if name is None:
        return None
    if fault := zone_fault(name):
        raise Refusal(f"--timezone: {fault}", 2)
    return ZoneInfo(name)


def reader_of(first: str, zone: ZoneInfo | None) -> Callable[[str], int]:
    """How the times of a file are read, by the first of them. The reader raises ValueError, with words to show."""
    return _unix if _number(first) is not None else lambda text: _iso(text, zone)


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _unix(text: str) -> int:
    seconds = _number(text)
    if seconds is None or not math.isfinite(seconds) or not FIRST_S <= seconds <= LAST_S:
        raise ValueError(f"{text!r} is no time in Unix seconds (1973 to 2103)")
    return round(seconds * US_PER_S)


def _iso(text: str, zone: ZoneInfo | None) -> int:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no time: give ISO 8601 (2026-06-21T10:00:00Z) or Unix seconds") from None
    if len(text) <= 10:
        raise ValueError(f"{text!r} is a day without a time: give ISO 8601 (2026-06-21T10:00:00Z) or Unix seconds")
    if found.tzinfo is None:
        if zone is None:
            raise ValueError(f"{text!r} does not say its time zone: say it with --timezone, such as UTC")
        found = found.replace(tzinfo=zone)
        if found.utcoffset() != found.replace(fold=1).utcoffset():
            raise ValueError(
                f"{text!r} came twice or never in {zone.key}, since the clocks were changed: have the times written in"
                " UTC, or leave that hour out"
            )
    found_us = (found - _BEGIN) // _US
    if not FIRST_S * US_PER_S <= found_us <= LAST_US:
        raise ValueError(f"{text!r} lies outside of 1973 to 2103: mend it, or leave that line out")
    return found_us
