"""A test strip by dose: the plan, when to move the card, and what each step really got."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given as cases
from hypothesis import strategies as st

from uvdose.calibrate.series import Series, Way, given, moments, plan_around, plan_series
from uvdose.model import Refusal

series = st.builds(
    plan_series, st.floats(1e-3, 1e6), st.floats(0.1, 2.0), st.integers(2, 15)
)
ways = st.sampled_from(["cover", "uncover"])


def test_a_strip_around_an_expected_dose() -> None:
    s = plan_around(1280.0, 0.5, 5)
    assert s.doses == pytest.approx((640.0, 905.1, 1280.0, 1810.2, 2560.0), abs=0.05)
    assert plan_around(1000.0, 1.0, 4).doses == pytest.approx((353.55, 707.11, 1414.2, 2828.4), abs=0.05)


def test_the_card_covers_from_the_lightest_on() -> None:
    s = Series((100.0, 200.0, 400.0), 1.0)
    assert moments(s, "cover") == [
        (100.0, "cover step 1", 1), (200.0, "cover step 2", 2), (400.0, "cover all: done", 3),
    ]  # fmt: skip
    assert moments(s, "uncover") == [
        (0.0, "uncover step 3", 3), (200.0, "uncover step 2", 2), (300.0, "uncover step 1", 1),
        (400.0, "cover all: done", 1),
    ]  # fmt: skip


def test_a_card_moved_late_is_counted_as_it_was() -> None:
    s = Series((100.0, 200.0, 400.0), 1.0)
    assert given(s, "cover", [104.0, 203.0, 409.0]) == (104.0, 203.0, 409.0)
    # Opened late and ended late: each step got what fell from its own opening to the end.
    assert given(s, "uncover", [0.0, 205.0, 301.0, 409.0]) == (108.0, 204.0, 409.0)
    assert given(s, "uncover", [205.0, 301.0, 409.0]) == (108.0, 204.0, 409.0)


@cases(series, ways)
def test_moved_on_time_each_step_gets_its_plan(s: Series, way: Way) -> None:
    on_time = [m.dose for m in moments(s, way)]
    assert given(s, way, on_time) == pytest.approx(s.doses, rel=1e-9, abs=1e-12 * s.doses[-1])
    assert on_time == sorted(on_time)


@cases(series)
def test_both_ways_end_alike_and_touch_each_step_once(s: Series) -> None:
    cover, uncover = moments(s, "cover"), moments(s, "uncover")
    assert cover[-1].dose == uncover[-1].dose == s.doses[-1]
    assert [m.step for m in cover] == [m.step for m in reversed(uncover[:-1])]
    assert given(s, "cover", [m.dose for m in cover]) == pytest.approx(
        given(s, "uncover", [m.dose for m in uncover]), rel=1e-9, abs=1e-12 * s.doses[-1]
    )


@cases(series, ways, st.data())
def test_what_was_given_is_what_fell_while_the_step_lay_open(s: Series, way: Way, data: st.DataObject) -> None:
    """Against a count of small portions of light, one by one."""
    plan = moments(s, way)
    moved = sorted(data.draw(st.lists(st.integers(0, 300), min_size=len(plan), max_size=len(plan))))
    got = dict.fromkeys(range(1, len(s.doses) + 1), 0)
    for portion in range(moved[-1]):
        for step in got:
            at = moved[[m.step for m in plan].index(step)]
            got[step] += portion < at if way == "cover" else portion >= at
    assert given(s, way, [float(m) for m in moved]) == tuple(float(n) for n in got.values())


@cases(st.floats(1e-3, 1e6), st.floats(0.1, 2.0), st.integers(2, 15))
def test_the_expected_dose_lies_in_the_middle(expected: float, step_stops: float, count: int) -> None:
    doses = plan_around(expected, step_stops, count).doses
    assert math.sqrt(doses[0] * doses[-1]) == pytest.approx(expected, rel=1e-9)
    assert all(math.log2(b / a) == pytest.approx(step_stops) for a, b in pairwise(doses))


@pytest.mark.parametrize(
    ("first", "step_stops", "count", "says"),
    [
        (640.0, 0.5, 1, "1 steps: a strip has 2 to 15"),
        (640.0, 0.5, 16, "16 steps: a strip has 2 to 15"),
        (640.0, 0.05, 5, "steps of 0.05 stops: say 0.1 to 2"),
        (640.0, 2.5, 5, "steps of 2.5 stops"),
        (640.0, math.nan, 5, "steps of nan stops"),
        (0.0, 0.5, 5, "give a number above zero"),
        (math.inf, 0.5, 5, "give a number above zero"),
        (-3.0, 0.5, 5, "give a number above zero"),
    ],
)
def test_out_of_bounds_is_refused_in_one_line(first: float, step_stops: float, count: int, says: str) -> None:
    for plan in (plan_series, plan_around):
        with pytest.raises(Refusal) as refused:
            plan(first, step_stops, count)
        assert says in refused.value.line
        assert refused.value.code == 2


@pytest.mark.parametrize(
    ("actual", "says"),
    [
        ([100.0], "1 moves of the card are known, the strip has 3"),
        ([100.0, 90.0, 400.0], "rise"),
        ([-1.0, 90.0, 400.0], "rise"),
        ([100.0, math.nan, 400.0], "rise"),
    ],
)
def test_moves_that_cannot_be_are_refused(actual: list[float], says: str) -> None:
    with pytest.raises(Refusal, match=says):
        given(Series((100.0, 200.0, 400.0), 1.0), "cover", actual)


def test_an_unknown_way_is_refused() -> None:
    with pytest.raises(Refusal, match="say cover"):
        moments(Series((100.0, 200.0), 1.0), "sideways")  # type: ignore[arg-type]
