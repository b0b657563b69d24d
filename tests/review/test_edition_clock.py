"""An edition by its doses and by the clock, on a bench whose light is set by hand; and its chart."""

from __future__ import annotations

import math

import pytest

from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.messages import Part
from uvdose.notes import Edition, Layer
from uvdose.review.edition_clock import _by_time, edition_by_clock
from uvdose.review.edition_text import CHART, edition_lines, strip_chart
from uvdose.review.editions import edition_of

from .conftest import BLUE, Bindery


def _sheet(bindery: Bindery, sheet: int, counts: int, seconds: int, held_s: int = 0) -> int:
    now_us = bindery.clock.dose_us()
    response = bindery.bench.channels["sill"].track.response
    part = Part("edition", "fair", sheet, 1)
    plan = Plan(bindery.recorder.next_exposure(), BLUE, "sill", f"f{sheet}", response, now_us, part=part)
    bindery.settle(bindery.bench.start(plan, now_us))
    bindery.light(seconds // 2, counts)
    if held_s:
        bindery.act(plan.id, Act.HOLD)
        bindery.light(held_s, counts)
        bindery.act(plan.id, Act.RESUME)
    bindery.light(seconds - seconds // 2, counts)
    bindery.act(plan.id, Act.FINISH)
    bindery.light(2, counts)
    return plan.id


@pytest.fixture
def fair(bindery: Bindery) -> Bindery:
    """Each sheet gets its 400 mJ/cm²: under 5 mW/cm² in 80 s, under 2.5 in 160 s with a hold, under 10 in 40 s."""
    note = Edition(4, (Layer("blue", 2),), 0.17)
    for sql, values in bindery.recorder.note("edition", "fair", note, 0).statements:
        bindery.db.execute(sql, values)
    bindery.light(30, 400)
    for sheet, (counts, seconds, held_s) in enumerate(((400, 80, 0), (200, 160, 20), (800, 40, 0)), 1):
        bindery.light(70, counts)
        _sheet(bindery, sheet, counts, seconds, held_s)
    bindery.light(60, 800)
    return bindery


def test_the_time_of_the_first_sheet_for_all(fair: Bindery) -> None:
    doc = edition_of(fair.store, "fair")
    [layer] = edition_by_clock(fair.store, doc)
    assert (layer.first, layer.clock_s) == (1, 80.0)
    # A stop less light at the half irradiance, one more at the double: after sheet 3 was taken in, its light went on.
    assert layer.stops == pytest.approx({1: 0.0, 2: -1.0, 3: 1.0}, abs=1e-6)
    assert layer.clock_spread_stops == pytest.approx(1.0) and layer.dose_spread_stops == pytest.approx(0.0, abs=1e-6)
    lines = edition_lines(doc, [layer])
    text = " ".join(" ".join(lines).split())
    assert "blue by the clock: 1:20 for each, as sheet 1 took; the doses would spread by 1.00 stop (-1.00 to" in text
    assert "+1.00), by the dose it was 0.00" in text
    assert lines[-1] == "next: sheet 4: `uvdose expose --edition fair`"
    assert max(map(len, lines)) <= 100


def test_where_no_readings_tell_it(fair: Bindery) -> None:
    last = fair.store.exposure(3)
    assert _by_time(fair.store, last, 100.0) == pytest.approx(1000.0), "60 s went on after it was taken in"
    assert _by_time(fair.store, last, 200.0) is None, "the readings end"
    number = _sheet(fair, 4, 800, 20)
    fair.light(100, 800, silent=True)
    fair.light(30, 800)
    assert _by_time(fair.store, fair.store.exposure(number), 15.0) == pytest.approx(150.0)
    assert _by_time(fair.store, fair.store.exposure(number), 60.0) is None, "a hole of 100 s"
    [layer] = edition_by_clock(fair.store, edition_of(fair.store, "fair"))
    assert layer.stops[4] is None and layer.clock_spread_stops == pytest.approx(1.0)
    assert "no readings tell it for sheet 4" in " ".join(edition_lines(edition_of(fair.store, "fair"), [layer]))


def test_a_hold_is_left_out(printed: Bindery) -> None:
    """20 s at 5, 40 s at 2.5, held, at 5 again; then 12 s of what fell after it was taken in."""
    fern = printed.store.exposure(1)
    for clock_s, dose in ((20, 100), (60, 200), (80, 300), (118, 490), (130, 550)):
        assert _by_time(printed.store, fern, clock_s) == pytest.approx(dose), clock_s


def test_the_chart() -> None:
    low, scale = strip_chart([0.0, 0.0, -0.2, 0.1], 0.16)
    cells = low.removeprefix("  ").ljust(CHART)
    assert cells.strip() and cells[30] == "2" and cells.count("o") == 2 and cells.count("┊") == 2
    reach = 1.05 * 0.2
    assert cells.index("o") == round((-0.2 / reach + 1) * 30) and cells.rindex("o") == round((0.1 / reach + 1) * 30)
    assert cells.index("┊") == round((-0.16 / reach + 1) * 30) and scale.split() == ["-0.21", "0", "+0.21", "stops"]
    assert scale.index("0", 8) == 32, "the zero stands under the middle"
    assert strip_chart([], 0.1) == [] and "#" in strip_chart([0.0] * 12, 0.1)[0]
    assert max(map(len, strip_chart([3.0, -3.0], 2.0))) <= 80 and strip_chart([math.ulp(0.0)], 1e-6)


def test_what_stands_apart_is_named(bindery: Bindery) -> None:
    note = Edition(6, (Layer("blue", 2),), 1.0)
    for sql, values in bindery.recorder.note("edition", "fair", note, 0).statements:
        bindery.db.execute(sql, values)
    bindery.light(30, 400)
    for sheet, seconds in enumerate((80, 81, 79, 80, 120, 80), 1):
        _sheet(bindery, sheet, 400, seconds)
    text = " ".join(" ".join(edition_lines(edition_of(bindery.store, "fair"))).split())
    assert "apart from the others: sheet 5" in text and "beyond the limit" not in text and "complete" in text
