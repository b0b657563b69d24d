"""Two times of day on a day whose midnight came twice: zones and dates are of the tz database."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from uvdose.cli.supposed import _between
from uvdose.stamps import day_bounds, local_date, use_zone


@pytest.fixture(autouse=True)
def machines_zone_after() -> Iterator[None]:
    yield
    use_zone(None)


@pytest.mark.parametrize(
    ("zone", "day", "said", "utc"),
    [
        # 01:00 became 00:00 in Havana, 00:01 became 23:01 the day before in St. John's.
        ("America/Havana", "2026-11-01", "00:30-06:00", "2026-11-01T05:30"),
        ("America/Havana", "2026-11-01", "00:00-06:00", "2026-11-01T05:00"),
        ("America/St_Johns", "2010-11-07", "00:00-06:00", "2010-11-07T03:30"),
        ("Europe/Zurich", "2026-10-25", "02:30-06:00", "2026-10-25T00:30"),
    ],
)
def test_both_lie_on_the_day(zone: str, day: str, said: str, utc: str) -> None:
    use_zone(zone)
    first, last = _between(*day_bounds(day), said)
    assert local_date(first) == local_date(last) == day
    assert datetime.fromtimestamp(first // 1_000_000, UTC).strftime("%Y-%m-%dT%H:%M") == utc
