"""Whole days as text and JSON, against files that were looked at and kept: see `days.py`."""

from __future__ import annotations

import json

import pytest

from uvdose.review.text import render

from .conftest import Bindery
from .days import DAYS, FOLDER, as_text

KEYS = {
    "date", "timezone", "waiting", "exposures", "from_before", "totals", "sensors", "targets", "health", "brought_in",
    "trace_from_utc", "trace_to_utc",
}  # fmt: skip


@pytest.mark.parametrize("name", DAYS)
def test_a_day_is_as_it_was_kept(bindery: Bindery, name: str) -> None:
    day = DAYS[name](bindery)
    text = render(day)
    assert text == FOLDER.joinpath(f"{name}.txt").read_text(encoding="utf-8")
    assert as_text(day) == FOLDER.joinpath(f"{name}.json").read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= 80


def test_no_file_is_left_over() -> None:
    assert {path.stem for path in FOLDER.iterdir()} == set(DAYS)
    for name in DAYS:
        document = json.loads(FOLDER.joinpath(f"{name}.json").read_text(encoding="utf-8"))
        assert document["date"][:7] == "2026-06" and set(document) == KEYS


def test_a_seldom_sensor_has_no_comb_of_dots(bindery: Bindery) -> None:
    sensor, = DAYS["seldom"](bindery).sensors
    read = [v is not None for v in sensor.trace]
    assert sensor.readings < len(sensor.trace) / 3
    assert all(read), "one reading a minute, and a column in each seven seconds"


def test_a_hole_is_seen_in_the_trace(bindery: Bindery) -> None:
    sill, = DAYS["gaps"](bindery).sensors
    unseen = sum(v is None for v in sill.trace) / len(sill.trace)
    holes_s = 20 + 90 + 41 + 300
    assert unseen == pytest.approx(holes_s / 770, abs=0.02)  # 12:50 from start to end
