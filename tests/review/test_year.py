"""The printing days of a year: what the day itself tells, out of documents and minutes alone."""

from __future__ import annotations

import msgspec
import pytest

from uvdose.exposure.states import Act
from uvdose.journal.daily import newest_day
from uvdose.journal.prune import prune
from uvdose.journal.summing import catch_up
from uvdose.model import Reading, Refusal, RegisterReading
from uvdose.notes import Verdict
from uvdose.review.day import Day
from uvdose.review.gather import gather
from uvdose.review.year import gather_days, span_bounds
from uvdose.review.year_text import render_days

from .conftest import BLUE, Bindery

HOUR = 3600


def test_a_day_in_the_overview_is_the_day_itself(printed: Bindery) -> None:
    [day] = gather_days(printed.store, newest_day(printed.store)[:4]).days
    whole = gather(printed.store, "2026-06-21")
    assert (day.date, day.begun, day.finished, day.void) == ("2026-06-21", 2, 1, 0)
    assert (day.stops_low, day.stops_high) == (whole.totals.stops_low, whole.totals.stops_high)
    assert day.waiting == len(whole.waiting) == 1
    for one, other in zip(day.sensors, whole.sensors, strict=True):
        assert (one.name, one.unit, one.dose, one.dose_unit) == (other.name, other.unit, other.dose, other.dose_unit)
        assert one.strongest == other.strongest and other.best is not None and one.best == other.best.irradiance
        assert one.light_s == pytest.approx(other.minutes * 60)
    statements = printed.recorder.note("verdict", "1", Verdict("right"), printed.clock.wall_us()).statements
    for sql, values in statements:
        printed.db.execute(sql, values)
    assert gather_days(printed.store, "2026-06").days[0].waiting == 0


def shine(bindery: Bindery, seconds: int, counts: int) -> None:
    """Steady light into the journal as the recorder takes it, without a bench that watches it."""
    rows: list[tuple[str, int, Reading]] = []
    for _ in range(seconds):
        bindery.clock.advance(1)
        bindery.uptime_ms += 1000
        bindery.register += counts * 1000
        line = RegisterReading(
            7, bindery.uptime_ms // 1000, bindery.uptime_ms, counts * 1000, bindery.register, 0, 0, 0
        )
        rows.append(("sill", bindery.clock.dose_us(), line))
    bindery.recorder.keep_readings(rows)
    for sql, values in bindery.recorder.flush():
        bindery.db.execute(sql, values)


def print_one(bindery: Bindery, counts: int, end: Act = Act.FINISH) -> None:
    bindery.light(1, counts)
    number = bindery.start(BLUE, "sill", "north")
    bindery.light(8, counts)
    bindery.act(number, end)
    bindery.light(1, counts)


def test_days_are_counted_each_with_its_own_light(bindery: Bindery) -> None:
    """Constant light, an hour a day: 5 mW/cm² x 3600 s is 18 J/cm², and half of it on the third day."""
    for counts in (400, 400, 200):
        print_one(bindery, counts, Act.FINISH if counts == 400 else Act.VOID)
        shine(bindery, HOUR - 9, counts)
        bindery.clock.advance(24 * HOUR - HOUR)
        bindery.uptime_ms += 23 * HOUR * 1000
    days = gather_days(bindery.store, "2026").days
    assert [d.date for d in days] == ["2026-06-21", "2026-06-22", "2026-06-23"]
    assert [(d.begun, d.finished, d.void) for d in days] == [(1, 1, 0), (1, 1, 0), (1, 0, 1)]
    assert [d.sensors[0].dose for d in days] == pytest.approx([18000, 18000, 9000])
    assert [d.sensors[0].light_s for d in days] == pytest.approx([HOUR] * 3)
    assert days[2].stops_low is None
    again = gather_days(bindery.store, "2026")
    catch_up(bindery.db)
    assert gather_days(bindery.store, "2026") == again, "summed or not"
    assert gather_days(bindery.store, "2026-07").days == []
    lines = render_days(again).splitlines()
    assert lines[0] == "2026: 3 printing days, 2 prints finished, 1 void, 2 verdicts to give"
    assert sum(line.startswith("2026-06-2") for line in lines) == 3 and max(map(len, lines)) <= 100


def test_dusk_and_night_are_no_light(bindery: Bindery) -> None:
    print_one(bindery, 400)
    for counts in (400, 19, 21):  # a twentieth of it is 20
        shine(bindery, 600, counts)
    [day] = gather_days(bindery.store, "2026").days
    assert day.sensors[0].light_s == pytest.approx(1200, abs=75), "by whole minutes"


def test_a_pruned_day_is_shown_as_it_was(bindery: Bindery) -> None:
    """Two prints a day, hours apart, whose raw readings are all that is left."""

    def days() -> list[Day]:
        return [gather(bindery.store, date) for date in ("2026-06-21", "2026-06-22")]

    for hours in (2, 5):
        print_one(bindery, 400)
        shine(bindery, hours * HOUR - 20, 400)
        print_one(bindery, 300)
        bindery.clock.advance(24 * HOUR - hours * HOUR)
        bindery.uptime_ms += (24 - hours) * HOUR * 1000
    shine(bindery, 2 * HOUR, 300)
    before = days()
    assert prune(bindery.db, bindery.clock.wall_us(), dry_run=False).readings_deleted > HOUR
    for then, now in zip(before, days(), strict=True):
        [a], [b] = then.sensors, now.sensors
        assert sum(v is None for v in a.trace) < len(a.trace) / 10, "before the first reading and after the last alone"
        assert [v is None for v in a.trace] == [v is None for v in b.trace]
        assert [v or 0.0 for v in a.trace] == pytest.approx([v or 0.0 for v in b.trace], rel=1e-3)
        assert msgspec.structs.replace(a, trace=[]) == msgspec.structs.replace(b, trace=[])


@pytest.mark.parametrize("span", ["26", "2026-13", "2026-6", "2026-06-21", "", "all", "9999", "２０２６"])
def test_what_is_no_year_and_no_month_is_refused(span: str) -> None:
    with pytest.raises(Refusal) as found:
        span_bounds(span)
    assert found.value.code == 2 and "YYYY-MM" in found.value.line


def test_no_exposures_yet(bindery: Bindery) -> None:
    with pytest.raises(Refusal, match="no exposure in the journal yet"):
        newest_day(bindery.store)
    assert "no exposures" in render_days(gather_days(bindery.store, "2026"))
