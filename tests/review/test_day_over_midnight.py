"""Prints that lie over midnight, days of 23 and of 25 hours, and days that changed something: what belongs to which."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import msgspec
import pytest

from uvdose.clock import FixedClock
from uvdose.exposure.states import Act
from uvdose.journal.daily import newest_day
from uvdose.messages import Part
from uvdose.model import Refusal
from uvdose.notes import Calibration, Seen, StripPlan, Verdict
from uvdose.review.gather import gather
from uvdose.review.text import render
from uvdose.service.present import Present
from uvdose.stamps import from_iso, use_zone

from .conftest import BLUE, Bindery
from .days import weeks

PLAIN = msgspec.structs.replace(BLUE, name="spinach", version=1, dose=100_000.0, unit="V.s")


@pytest.fixture
def at_bench(tmp_path: Path, in_utc: None) -> Iterator[Any]:
    """A bench in a zone, its clock set to a moment of UTC; the machine itself goes by UTC."""

    def begun(zone: str, utc: str) -> Bindery:
        use_zone(zone)
        b = Bindery(tmp_path / "journal.sqlite3")
        b.clock = FixedClock(5_000_000_000, from_iso(f"{utc}:00Z"))
        return b

    yield begun
    use_zone(None)


def test_a_print_over_midnight_is_shared_by_two_days(at_bench) -> None:
    """Half an hour at 0.5 V before midnight in Zurich (22:00 UTC), a quarter at 0.1 V after it; held for five minutes.

    Ramps between the readings are shared out straight, so that the two shares are the whole.
    """
    b = at_bench("Europe/Zurich", "2026-06-21T21:25")
    b.seldom(5 * 6, 0.5, 10)
    number = b.start(PLAIN, "roof", "south", "leaf")
    b.seldom(30 * 6, 0.5, 10)
    b.seldom(5 * 6, 0.1, 10)
    b.act(number, Act.HOLD)
    b.seldom(5 * 6, 0.1, 10)
    b.act(number, Act.RESUME)
    b.seldom(10 * 6, 0.1, 10)
    b.act(number, Act.FINISH)
    b.seldom(12, 0.1, 10)
    assert newest_day(b.store) == "2026-06-21"
    first, second = gather(b.store, "2026-06-21"), gather(b.store, "2026-06-22")
    mine, = first.prints
    again, = second.from_before
    assert second.prints == [] and first.from_before == [] and again.document == mine.document
    assert mine.began == again.began == "2026-06-21"
    assert mine.share is not None and again.share is not None
    assert (mine.share.lit_s, again.share.lit_s, mine.held_s) == (1800, 900, 300)
    assert mine.share.dose == pytest.approx(0.5 * 1800, rel=1e-6)
    assert again.share.dose == pytest.approx(0.1 * 900 + 10 * 0.2, rel=1e-6)
    assert mine.share.dose + again.share.dose == pytest.approx(mine.document.dose, rel=1e-6)
    # Sums and what the sensors saw stay with their days; the day's end ends its timeline.
    assert (first.totals.begun, second.totals.begun) == (1, 0)
    assert first.to_us == from_iso("2026-06-21T22:00:00Z") == second.from_us
    assert [s.dose for s in first.sensors] == [pytest.approx(0.5 * 35 * 60, rel=0.01)]
    text = render(second)
    assert text.startswith("2026-06-22, Europe/Zurich: 0 exposures, and 1 from before")
    begun = "  exposure 1, leaf, frame south: spinach v1, begun 2026-06-21 23:30"
    assert f"Still in the light from before:\n{begun}" in text
    assert "on this day 15:00 in the light, about 92.00 V·s" in " ".join(text.split())
    # On the day it began, what came later says which day it was.
    assert "finished 2026-06-22 00:20:00" in " ".join(render(first).split())
    assert gather(b.store, "2026-06-23").from_before == []
    use_zone(None)  # by UTC all of it lies on one day
    assert [p.share for p in gather(b.store, "2026-06-21").prints] == [None]


def test_a_print_of_many_days(bindery: Bindery) -> None:
    """Fifty hours from ten o'clock on: 14, 24 and 12 of them; each day's light is its own, and night is no gap."""
    weeks(bindery)
    days = [gather(bindery.store, f"2026-06-{d}") for d in (21, 22, 23)]
    prints = [(*day.prints, *day.from_before) for day in days]
    assert [len(p) for p in prints] == [1, 1, 1] and gather(bindery.store, "2026-06-24").from_before == []
    shares = [p[0].share for p in prints]
    assert all(s is not None and s.dose is not None for s in shares)
    begun_s = 120  # two readings before it
    assert [s.lit_s for s in shares if s] == [14 * 3600 - begun_s, 24 * 3600, 12 * 3600 + begun_s]
    assert sum(s.dose or 0 for s in shares if s) == pytest.approx(prints[0][0].document.dose, rel=1e-5)
    for day in days:
        alarms = {alarm.alarm for health in day.health for alarm in health.alarms}
        assert not alarms & {"gap", "silent", "frozen"} and all(h.holes == 0 for h in day.health)


def test_one_still_in_the_light_and_one_taken_back(at_bench) -> None:
    b = at_bench("Europe/Zurich", "2026-06-21T21:50")
    b.seldom(20, 0.5, 10)
    lying = b.start(PLAIN, "roof", "south")
    void = b.start(PLAIN, "roof", "north")
    b.seldom(90, 0.5, 10)
    b.act(void, Act.VOID)
    b.seldom(6, 0.5, 10)
    day = gather(b.store, "2026-06-22")
    assert [p.document.id for p in day.from_before] == [lying]
    assert not day.waiting and not day.from_before[0].waits


@pytest.mark.parametrize(
    ("zone", "date", "begin", "hours", "ends"),
    [
        # The hour from two to three comes twice: the print begins in the first and ends in the second.
        ("Europe/Zurich", "2026-10-25", "2026-10-25T00:20", 25, ("02:20:00+02:00", "02:21:00+01:00")),
        ("Europe/Zurich", "2026-03-29", "2026-03-29T00:20", 23, ("01:20:00", "03:21:00")),
        ("Australia/Lord_Howe", "2026-04-05", "2026-04-04T14:50", 24.5, ("01:50:00+11:00", "02:21:00")),
        ("America/St_Johns", "2026-11-01", "2026-11-01T03:50", 25, ("01:20:00-02:30", "01:21:00-03:30")),
        ("Pacific/Apia", "2011-12-29", "2011-12-30T09:40", 24, ("23:40:00", "2011-12-31 00:41:00")),
    ],
)
def test_the_night_when_clocks_change(
    at_bench, zone: str, date: str, begin: str, hours: float, ends: tuple[str, str]
) -> None:
    """A print of 61 minutes over the change: neither its dose nor its time takes notice, and no label means two times.
    """
    b = at_bench(zone, begin)
    b.clock.advance(-180)
    b.seldom(18, 0.5, 10)
    number = b.start(PLAIN, "roof", "south")
    b.seldom(61 * 6, 0.5, 10)
    b.act(number, Act.FINISH)
    b.seldom(8, 0.5, 10)
    day = gather(b.store, date)
    shown, = day.prints
    assert shown.document.dose == pytest.approx(0.5 * 61 * 60, rel=1e-9) and shown.lit_s == 61 * 60
    text = " ".join(render(day).split())
    assert f"started {ends[0]}" in text and f"finished {ends[1]}" in text
    everything = gather(b.store, date).sensors[0]
    assert everything.dose == pytest.approx(0.5 * everything.minutes * 60)
    if zone == "Pacific/Apia":
        with pytest.raises(Refusal, match="left it out"):
            gather(b.store, "2011-12-30")
        assert len(gather(b.store, "2011-12-31").from_before) == 1


def test_today_is_the_benchs(printed: Bindery) -> None:
    """13 hours after the prints of ten o'clock (UTC) it is the next day in Tokyo (UTC+9), and in UTC it is not."""
    printed.clock.advance(13 * 3600)
    core = SimpleNamespace(
        clock=printed.clock, bench=SimpleNamespace(exposures={}, channels={}), trouble="", label=lambda t_us: t_us
    )
    present = Present(cast(Any, core), printed.store, "bindery", lambda: [])
    try:
        shown = {}
        for zone in ("Etc/UTC", "Asia/Tokyo", None):
            use_zone(zone)
            shown[zone] = [d.id for d in present.status().exposures]
    finally:
        use_zone(None)
    assert shown == {"Etc/UTC": [1, 2], "Asia/Tokyo": [], None: [1, 2]}


def test_what_waits_and_for_which_word(bindery: Bindery) -> None:
    """A print waits for its verdict, a strip until it is read or dropped; what is void or runs waits for nothing."""
    bindery.light(30, 400, 1.0)
    trial = msgspec.structs.replace(BLUE, name="strip 3", version=0)
    plan = Calibration(StripPlan((100.0, 200.0)), "mJ/cm2")
    bindery.say("calibration", "3", plan)

    def one(target: Any, end: Act | None, label: str = "", part: Part | None = None) -> int:
        number = bindery.start(target, "sill", "north", label, part=part)
        bindery.light(20, 400, 1.0)
        if end is not None:
            bindery.act(number, end)
        bindery.light(4, 400, 1.0)
        return number

    one(BLUE, Act.FINISH, "fern")
    one(BLUE, Act.VOID)
    strip = one(trial, Act.FINISH, part=Part("strip", "3"))
    judged = one(BLUE, Act.FINISH)
    one(BLUE, None)
    bindery.say("verdict", str(judged), Verdict("right"))

    def told() -> list[tuple[int, str]]:
        return [(w.exposure, w.type) for w in gather(bindery.store, "2026-06-21").waiting]

    assert told() == [(1, "uvdose verdict 1"), (strip, "uvdose strip read 3")]
    lines = render(gather(bindery.store, "2026-06-21")).splitlines()
    assert lines[2:5] == [
        "What waits, when it is washed and dry:",
        "  print 1, fern: blue v2  uvdose verdict 1",
        "  strip 3                 uvdose strip read 3",
    ]
    bindery.say("calibration", "3", msgspec.structs.replace(plan, dropped=True))
    assert told() == [(1, "uvdose verdict 1")]
    bindery.say("calibration", "3", msgspec.structs.replace(plan, seen=Seen("right", right=2)))
    bindery.say("verdict", "1", Verdict("dark", 0.5))
    assert told() == []
    newest = Verdict("right")
    bindery.say("verdict", "1", newest)
    assert gather(bindery.store, "2026-06-21").prints[0].verdict == newest
