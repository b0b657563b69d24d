"""Registers and moments, holes and marks: exact where it can be, apart where it is not measured."""

from __future__ import annotations

import math

import pytest
from dose.light import WATTS, count, line, moments, us
from hypothesis import given
from hypothesis import strategies as st

from uvdose.dose.account import Account
from uvdose.dose.integrator import Track
from uvdose.dose.response import Response
from uvdose.model import Kind, Mark, MomentSegment, RegisterSegment

COUNTS = Response(0.2, 3.0, 1000.0, "mJ/cm2")


def _account(response: Response, windows: list[tuple[Mark, Mark | None]]) -> Account:
    account = Account(response)
    for start, stop in windows:
        account.open(start)
        if stop is not None:
            account.close(stop)
    return account


def test_register_dose_is_the_exact_difference() -> None:
    track = Track(COUNTS)
    account = _account(COUNTS, [(Mark(us(1), 7, 1000, 400_000), Mark(us(901), 7, 901_000, 300_400_000))])
    for t_s, register in ((1, 400_000), (2, 800_000), (900, 300_000_000), (901, 300_400_000), (902, 301_000_000)):
        for segment in track.feed(line(7, t_s, t_s * 1000, register), us(t_s)):
            account.add(segment)
    assert account.figures().dose == 0.2 * (300_000_000 - 3.0 * 900_000) / 1000
    assert account.figures().measured_s == 900


def test_lost_lines_of_a_register_lose_nothing() -> None:
    every = [(float(i), line(7, i, i * 1000, 400 * 1000 * i)) for i in range(600)]
    kept = [every[0], every[1], every[500], every[-1]]
    full = count(every, 0, 599, COUNTS).figures()
    holed = count(kept, 0, 599, COUNTS).figures()
    assert holed == full
    assert (holed.bridged_s, holed.missing_s) == (0, 0)


def test_uptime_wraps() -> None:
    first, second = line(7, 1, 2**32 - 500, 10_000), line(7, 2, 500, 410_000)
    track = Track(WATTS)
    track.feed(first, us(10))
    (segment,) = track.feed(second, us(11))
    account = _account(WATTS, [(Mark(0), None)])
    account.add(segment)
    assert account.figures().dose == 400.0
    assert account.figures().measured_s == 1.0


def test_a_new_boot_leaves_only_its_own_absence_unmeasured() -> None:
    track = Track(WATTS)
    track.feed(line(1, 9, 90_000, 9_000_000, level=100), us(90))
    hole, counted = track.feed(line(2, 1, 4_000, 400_000, level=100), us(114))
    assert isinstance(hole, MomentSegment) and hole.kind is Kind.BRIDGED
    assert (hole.t0_us, hole.t1_us) == (us(90), us(110))
    assert isinstance(counted, RegisterSegment) and counted.register1 - counted.register0 == 400_000


def test_a_node_that_was_up_before_the_last_line_adds_none_of_its_old_register() -> None:
    track = Track(WATTS)
    track.feed(line(1, 9, 90_000, 9_000_000, level=100), us(90))
    (hole,) = track.feed(line(2, 1, 900_000, 90_000_000, level=100), us(95))
    assert isinstance(hole, MomentSegment) and hole.kind is Kind.BRIDGED
    account = _account(WATTS, [(Mark(0), None)])
    account.add(hole)
    assert account.figures().dose == 500


def test_a_reset_that_kept_the_register_costs_what_arrival_tells() -> None:
    track = Track(WATTS)
    track.feed(line(1, 9, 90_000, 9_000_000, level=100), us(90))
    hole, counted = track.feed(line(1, 10, 91_000, 9_100_000, level=100, flags=8), us(93))
    assert isinstance(hole, MomentSegment) and hole.t1_us - hole.t0_us == us(2)
    assert isinstance(counted, RegisterSegment) and counted.register1 - counted.register0 == 100_000


@pytest.mark.parametrize("up_s", [2, 90])
def test_a_register_that_fell_while_the_uptime_went_on_tells_nothing_of_that_second(up_s: int) -> None:
    """Also of a node that has just begun: nothing of its register is counted twice."""
    track, account = Track(WATTS), _account(WATTS, [(Mark(0), None)])
    lines = [line(1, 9, up_s * 1000, 100_000 * up_s, level=100), line(1, 10, up_s * 1000 + 1000, 99_999, level=100)]
    lines.append(line(1, 11, up_s * 1000 + 2000, 199_999, level=100))
    segments = [s for x in lines for s in track.feed(x, us(1000) + x.uptime_ms * 1000)]
    for segment in segments:
        account.add(segment)
    hole, counted = segments
    assert isinstance(hole, MomentSegment) and hole.kind is Kind.BRIDGED and hole.t1_us - hole.t0_us == us(1)
    assert isinstance(counted, RegisterSegment) and account.figures().dose == pytest.approx(200, rel=1e-9)


def test_an_uptime_that_went_back_is_no_wrap() -> None:
    track, account = Track(WATTS), _account(WATTS, [(Mark(0), None)])
    track.feed(line(1, 9, 90_000, 9_000_000, level=100), us(90))
    for segment in track.feed(line(1, 10, 89_000, 9_100_000, level=100), us(91)):
        account.add(segment)
    assert (account.figures().bridged_s, account.figures().measured_s) == (1, 0)


@pytest.mark.parametrize("pause_s", [40, 600])
def test_a_start_named_afterwards_between_two_lines_far_apart_is_not_measured(pause_s: int) -> None:
    """All light between the lines is known, but not when it fell: dark at first, say, and bright at the end."""
    track = Track(COUNTS)
    account = _account(COUNTS, [(Mark(us(60 + pause_s - 20)), None)])
    whole = _account(COUNTS, [(Mark(us(60)), None)])
    register = 0
    for t_s in [*range(61), *range(60 + pause_s, 90 + pause_s)]:
        register += 400_000 if t_s <= 60 or t_s > 60 + pause_s else 100_000 * pause_s
        for segment in track.feed(line(7, t_s, t_s * 1000, register, level=400), us(t_s)):
            account.add(segment)
            whole.add(segment)
    f = account.figures()
    assert (f.measured_s, f.bridged_s, f.missing_s) == ((29, 20, 0) if pause_s == 40 else (29, 0, 20))
    assert f.dose + f.missing == pytest.approx(0.2 * (29 * 397 + 20 * 97), rel=1e-9)
    assert whole.figures().measured_s == pause_s + 29, "the whole is as exact as ever"


def test_saturation_of_a_node_is_kept_where_no_full_scale_is_set() -> None:
    response = Response(0.2, 0.0, None, "mJ/cm2")
    track, account = Track(response), _account(response, [(Mark(0), None)])
    track.feed(line(1, 1, 1000, 0, level=400), us(1))
    for segment in track.feed(line(1, 2, 2000, 400_000, level=400, sat_ms=600), us(2)):
        account.add(segment)
    f = account.figures()
    assert f.saturated_s == 0.6 and f.high >= f.dose * 1.59 and "saturated" in track.quality.found


@pytest.mark.parametrize(
    ("pause_s", "measured_s", "bridged_s", "missing_s"),
    [(1, 1, 0, 0), (9.9, 9.9, 0, 0), (10.1, 0, 10.1, 0), (60, 0, 60, 0), (60.1, 0, 0, 60.1), (3600, 0, 0, 3600)],
)
def test_holes_of_momentary_values(pause_s: float, measured_s: float, bridged_s: float, missing_s: float) -> None:
    rows = moments([(float(i), 50.0) for i in range(20)] + [(19 + pause_s, 50.0)])
    f = count(rows, 19, 19 + pause_s).figures()
    assert (f.measured_s, f.bridged_s, f.missing_s) == pytest.approx((measured_s, bridged_s, missing_s), abs=1e-6)
    assert f.dose == pytest.approx(50.0 * (measured_s + bridged_s), rel=1e-9)
    assert f.missing == pytest.approx(50.0 * missing_s, rel=1e-9)
    assert f.low <= f.dose <= f.high


def test_a_slow_sensor_has_no_holes_at_its_usual_interval() -> None:
    f = count(moments([(30.0 * i, 50.0) for i in range(20)]), 300, 570).figures()
    assert (f.measured_s, f.bridged_s) == (270, 0)


def test_a_bridge_is_wider_in_restless_light() -> None:
    calm = [(float(i), 50.0 + 0.1 * (i % 2)) for i in range(120)]
    wild = [(float(i), 50.0 + 20.0 * ((i // 7) % 2)) for i in range(120)]
    widths = []
    for values in (calm, wild):
        f = count(moments([*values, (159.0, values[-1][1])]), 119, 159).figures()
        assert f.bridged_s == 40
        widths.append(f.high - f.low)
    assert widths[1] > 20 * widths[0] > 0


def test_saturation_is_a_lower_bound() -> None:
    f = count(moments([(float(i), 1000.0) for i in range(11)]), 0, 10, COUNTS).figures()
    assert f.saturated_s == 10
    assert f.high >= 2 * f.dose * 0.99


def test_saturated_register_time_is_kept_though_its_lines_were_lost() -> None:
    track, account = Track(COUNTS), _account(COUNTS, [(Mark(0), None)])
    track.feed(line(1, 1, 1000, 0), us(1))
    for segment in track.feed(line(1, 50, 50_000, 20_000_000, level=300, sat_ms=7_000), us(50)):
        account.add(segment)
    assert account.figures().saturated_s == 7


def test_a_negative_reading_is_never_clamped() -> None:
    f = count(moments([(0.0, 1.0), (1.0, -1.0), (2.0, 1.0)]), 0, 2).figures()
    assert f.dose == 0.0


# -- properties ------------------------------------------------------------------------------------------------

_STEPS = st.lists(st.tuples(st.integers(1, 5_000_000), st.integers(0, 60_000)), min_size=2, max_size=60)


def _rows(steps: list[tuple[int, int]]) -> list[tuple[float, object]]:
    t_us, rows = 0, []
    for dt_us, milli in steps:
        t_us += dt_us
        rows.append((t_us / 1e6, milli / 1000))
    return rows


@given(_STEPS)
def test_dose_never_falls_while_light_is_not_negative(steps: list[tuple[int, int]]) -> None:
    rows = moments(_rows(steps))
    track, account, last = Track(WATTS), Account(WATTS), 0.0
    account.open(Mark(0))
    for t_s, reading in rows:
        for segment in track.feed(reading, us(t_s)):
            account.add(segment)
        dose = account.figures().dose
        assert dose >= last
        last = dose


@given(_STEPS, st.floats(0.01, 0.99))
def test_parts_add_up_to_the_whole(steps: list[tuple[int, int]], share: float) -> None:
    rows = moments(_rows(steps))
    begin, end = rows[0][0], rows[-1][0]
    cut = us(begin + share * (end - begin)) / 1e6
    whole = count(rows, begin, end).figures()
    parts = [count(rows, begin, cut).figures(), count(rows, cut, end).figures()]
    assert math.isclose(sum(p.dose for p in parts), whole.dose, rel_tol=1e-9, abs_tol=1e-9)
    assert math.isclose(sum(p.measured_s for p in parts), whole.measured_s, abs_tol=1e-6)


@given(_STEPS, st.integers(0, 58), st.floats(0.05, 0.95))
def test_an_interpolated_reading_changes_nothing(steps: list[tuple[int, int]], at: int, share: float) -> None:
    rows = _rows(steps)
    i = at % (len(rows) - 1)
    (t0, v0), (t1, v1) = rows[i], rows[i + 1]
    t = us(t0 + share * (t1 - t0)) / 1e6
    extra = (t, v0 + (v1 - v0) * (t - t0) / (t1 - t0))
    plain = count(moments(rows), rows[0][0], rows[-1][0]).figures().dose
    more = count(moments([*rows[: i + 1], extra, *rows[i + 1 :]]), rows[0][0], rows[-1][0]).figures().dose
    assert math.isclose(plain, more, rel_tol=1e-9, abs_tol=1e-6)


@given(st.lists(st.tuples(st.integers(1, 60_000), st.integers(0, 1023)), min_size=3, max_size=40), st.data())
def test_any_selection_of_register_lines_gives_the_same_dose(steps: list[tuple[int, int]], data: st.DataObject) -> None:
    uptime, register, rows = 0, 0, []
    for i, (dt_ms, level) in enumerate(steps):
        uptime += dt_ms
        register += dt_ms * level
        rows.append((uptime / 1000, line(5, i, uptime, register, level)))
    kept = [r for r in rows[1:-1] if data.draw(st.booleans())]
    full = count(rows, rows[0][0], rows[-1][0], COUNTS).figures()
    some = count([rows[0], *kept, rows[-1]], rows[0][0], rows[-1][0], COUNTS).figures()
    assert some == full


@pytest.mark.parametrize("full_scale, told", [(1000.0, True), (None, False)])
def test_a_register_that_leaps_is_no_light(full_scale: float | None, told: bool) -> None:
    """An hour of the strongest light between two lines of a second is a fault of the node, and no dose."""
    response = Response(0.2, 0.0, full_scale, "mJ/cm2")
    leap = 3_600_000 * 1000
    readings = [
        (float(i), line(7, i, i * 1000, 400_000 * i + (leap if i >= 30 else 0), level=400.0)) for i in range(61)
    ]
    figures = count(readings, 0, 60, response).figures()
    track = Track(response)
    found = [(track.feed(reading, us(t)), "leapt" in track.quality.found)[1] for t, reading in readings]
    assert found[29:41] == ([False, *[True] * 10, False] if told else [False] * 12)
    if told:
        assert figures.dose == pytest.approx(0.2 * 400 * 60, rel=1e-12)
        assert (figures.measured_s, figures.bridged_s) == (59, 1)
    else:
        assert figures.dose == pytest.approx(0.2 * (400 * 60 + 3_600_000))


def test_a_boot_that_says_it_counted_more_than_there_was_is_bridged_whole() -> None:
    response = Response(1.0, 0.0, 1000.0, "counts.s")
    readings = [(0.0, line(7, 0, 9000, 0, level=400.0)), (20.0, line(8, 0, 5000, 10**9, level=400.0))]
    figures = count(readings, 0, 20, response).figures()
    assert figures.dose == pytest.approx(400 * 20, rel=1e-12)
    assert (figures.measured_s, figures.bridged_s) == (0, 20)


def test_a_full_scale_that_is_set_too_low_makes_no_leap_of_true_light() -> None:
    response = Response(1.0, 0.0, 100.0, "counts.s")
    readings = [(float(i), line(7, i, i * 1000, 400_000 * i, level=400.0)) for i in range(61)]
    assert count(readings, 0, 60, response).figures().measured_s == 60
