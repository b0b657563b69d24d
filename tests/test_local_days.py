"""Local days and times of the bench's place, held against zoneinfo minute by minute.

Source: the IANA time zone database, by the standard library's zoneinfo. Its history of these places: Europe/Zurich
changes by an hour in March and October; America/St_Johns did so at 00:01 until 2011, so that a midnight came twice;
Australia/Lord_Howe changes by half an hour; Pacific/Apia left out 2011-12-30 when it crossed the date line.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from uvdose import stamps
from uvdose.config import parse_settings
from uvdose.model import Refusal
from uvdose.stamps import at_local, day_bounds, in_local, local_date, local_moment, local_time, use_zone

S = 1_000_000
HOUR_US = 3600 * S
SENSOR = '[[sensor]]\nname = "sill"\nlink = "simulated"\n'


@pytest.fixture(autouse=True)
def machine_zone() -> Iterator[None]:
    yield
    use_zone(None)


def utc_us(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * S


# zone, day, its length in hours, first instant in UTC
DAYS = [
    ("Europe/Zurich", "2026-03-29", 23.0, "2026-03-28T23:00"),
    ("Europe/Zurich", "2026-10-25", 25.0, "2026-10-24T22:00"),
    ("Europe/Zurich", "2026-06-21", 24.0, "2026-06-20T22:00"),
    ("America/St_Johns", "2026-03-08", 23.0, "2026-03-08T03:30"),
    ("America/St_Johns", "2026-11-01", 25.0, "2026-11-01T02:30"),
    ("Australia/Lord_Howe", "2026-04-05", 24.5, "2026-04-04T13:00"),
    ("Australia/Lord_Howe", "2026-10-04", 23.5, "2026-10-03T13:30"),
    ("Pacific/Apia", "2011-12-29", 24.0, "2011-12-29T10:00"),
    ("Pacific/Apia", "2011-12-31", 24.0, "2011-12-30T10:00"),
]


@pytest.mark.parametrize(("zone", "day", "hours", "begin"), DAYS)
def test_how_long_a_day_is(zone: str, day: str, hours: float, begin: str) -> None:
    use_zone(zone)
    first, last = day_bounds(day)
    assert (last - first) / HOUR_US == hours
    assert first == utc_us(begin)
    assert datetime.fromtimestamp(first / S, ZoneInfo(zone)).isoformat()[:16] == f"{day}T00:00"


@pytest.mark.parametrize(
    ("zone", "around"),
    [
        ("Europe/Zurich", "2026-03-29"), ("Europe/Zurich", "2026-10-25"), ("America/St_Johns", "2010-11-07"),
        ("America/St_Johns", "2010-03-14"), ("America/St_Johns", "2026-11-01"), ("Australia/Lord_Howe", "2026-04-05"),
        ("Australia/Lord_Howe", "2026-10-04"), ("Pacific/Apia", "2011-12-30"), ("America/Sao_Paulo", "2018-11-04"),
    ],
)
def test_each_minute_belongs_to_one_day_and_each_label_to_one_moment(zone: str, around: str) -> None:
    """Three days around a change: the bounds meet, hold what `local_date` says, and no two moments share a label."""
    use_zone(zone)
    info, middle = ZoneInfo(zone), date.fromisoformat(around)
    bounds = {}
    for days in range(-2, 3):
        text = (middle + timedelta(days=days)).isoformat()
        try:
            bounds[text] = day_bounds(text)
        except Refusal:
            assert (zone, text) == ("Pacific/Apia", "2011-12-30")
    edges = list(bounds.values())
    assert all(a[1] == b[0] for a, b in pairwise(edges))
    labels = []
    for wall_us in range(edges[0][0], edges[-1][1], 60 * S):
        day = local_date(wall_us)
        assert bounds[day][0] <= wall_us < bounds[day][1]
        shown = datetime.fromtimestamp(wall_us // S, info)
        label = local_moment(wall_us)
        labels.append(label)
        assert label[:19] == shown.strftime("%Y-%m-%d %H:%M:%S")
        twice = shown.replace(fold=0).utcoffset() != shown.replace(fold=1).utcoffset()
        offset = shown.isoformat()[19:]
        assert label[19:] == (offset if twice else "")
        # The day is the date on the wall, but for the minute between two midnights in St. John's.
        assert day == label[:10] or (zone == "America/St_Johns" and shown.hour == 0 and shown.fold == 0)
    assert len(set(labels)) == len(labels)


def test_the_hour_that_comes_twice() -> None:
    use_zone("Europe/Zurich")
    first, second = utc_us("2026-10-25T00:30"), utc_us("2026-10-25T01:30")
    assert local_time(first) == "02:30:00+02:00" and local_time(second) == "02:30:00+01:00"
    assert local_time(second + HOUR_US) == "03:30:00"
    assert in_local("at 2026-10-25T01:30:00.000Z") == "at 2026-10-25 02:30:00+01:00"
    use_zone("Australia/Lord_Howe")
    assert local_time(utc_us("2026-04-04T15:15")) == "01:45:00+10:30"


@pytest.mark.parametrize(
    ("zone", "now", "typed", "found"),
    [
        ("Europe/Zurich", "2026-06-21T10:00", "11:59", "2026-06-21T09:59"),
        ("Europe/Zurich", "2026-06-21T10:00", "12:01", "2026-06-20T10:01"),
        # twice: the newest that is not to come
        ("Europe/Zurich", "2026-10-25T03:00", "02:30", "2026-10-25T01:30"),
        ("Europe/Zurich", "2026-10-25T01:10", "02:30", "2026-10-25T00:30"),
        # never shown that day: the day before
        ("Europe/Zurich", "2026-03-29T04:00", "02:30", "2026-03-28T01:30"),
        ("Pacific/Apia", "2011-12-30T10:30", "23:30", "2011-12-30T09:30"),
    ],
)
def test_a_time_of_day_that_is_typed(zone: str, now: str, typed: str, found: str) -> None:
    use_zone(zone)
    assert at_local(typed, utc_us(now)) == utc_us(found)


def test_a_day_that_was_left_out_and_what_is_no_zone() -> None:
    use_zone("Pacific/Apia")
    with pytest.raises(Refusal, match="the calendar of Pacific/Apia left it out") as found:
        day_bounds("2011-12-30")
    assert found.value.code == 2
    for name, mend in (("Europe/Zürich", "IANA name such as"), ("europe/zurich", "write Europe/Zurich"), ("", "IANA"),
                       ("../etc/passwd", "IANA"), ("/etc/localtime", "IANA"), ("Europe", "IANA")):
        with pytest.raises(Refusal) as wrong:
            parse_settings(f'[bench]\ntimezone = "{name}"\n{SENSOR}', "uvdose.toml")
        assert wrong.value.line.startswith("uvdose.toml: bench.timezone: ") and mend in wrong.value.line
        assert "\n" not in wrong.value.line
    assert stamps.zone_name() == "Pacific/Apia"
    assert parse_settings(f'[bench]\ntimezone = "Asia/Kathmandu"\n{SENSOR}', "x").bench.timezone == "Asia/Kathmandu"


def test_the_machines_zone_may_change_under_the_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    """Travel: the laptop goes by another zone, the bench by its own; without one the machine's holds, also twice."""
    import time

    wall_us = utc_us("2026-10-25T01:30")
    use_zone("Europe/Zurich")
    try:
        for machine in ("UTC", "America/St_Johns", "CET-1CEST,M3.5.0,M10.5.0/3"):
            monkeypatch.setenv("TZ", machine)
            time.tzset()
            assert local_moment(wall_us) == "2026-10-25 02:30:00+01:00"
        use_zone(None)
        assert local_moment(wall_us) == "2026-10-25 02:30:00+01:00"
        assert local_moment(wall_us + 2 * HOUR_US) == "2026-10-25 04:30:00"
    finally:
        monkeypatch.undo()
        time.tzset()
