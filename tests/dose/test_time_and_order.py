"""Timebase and order: late, doubled and overtaken readings, drifting and wrapping clocks."""

from __future__ import annotations

import itertools
import random

import pytest
from dose.light import line, us
from hypothesis import given
from hypothesis import strategies as st

from uvdose.dose.order import MomentOrder, RegisterOrder
from uvdose.dose.timebase import NodeTime, SourceTime, after_32
from uvdose.model import MomentReading


def test_least_delay_wins_over_arrival() -> None:
    source = SourceTime()
    rng = random.Random(1)
    worst = 0
    for i in range(1000):
        delay = rng.choice([5_000, 20_000, 400_000])
        t = source.to_dose_us(us(i), us(1_000 + i) + delay)
        if i > 50:
            worst = max(worst, abs(t - us(1_000 + i) - 5_000))
    assert worst <= 30_000


def test_a_burst_after_a_stall_keeps_its_own_times() -> None:
    source = SourceTime()
    for i in range(10):
        source.to_dose_us(us(i), us(100 + i) + 3_000)
    times = [source.to_dose_us(us(10 + i), us(170)) for i in range(60)]
    steps = [b - a for a, b in itertools.pairwise(times)]
    assert all(step == pytest.approx(1_000_000, abs=40_000) for step in steps)


@pytest.mark.parametrize(("ppm", "within_us"), [(-500, 10_000), (500, 10_000), (-5000, 500_000), (5000, 10_000)])
def test_a_drifting_clock_is_followed(ppm: int, within_us: int) -> None:
    """Quartz is good to 100 ppm, a ceramic resonator to some 5000 ppm (common practice, no source)."""
    source = SourceTime()
    off = 0
    for i in range(0, 36_000, 2):
        off = source.to_dose_us(us(i * (1 + ppm / 1e6)), us(50 + i) + 2_000) - us(50 + i)
        assert abs(off - 2_000) <= within_us


@pytest.mark.parametrize("step_s", [-600, 600, 86_400, -86_400])
def test_a_clock_that_was_set_is_followed_within_seconds(step_s: int) -> None:
    source = SourceTime()
    times = [source.to_dose_us(us(1e6 + i + (step_s if i >= 60 else 0)), us(i) + 5_000) for i in range(120)]
    assert max(b - a for a, b in itertools.pairwise(times)) <= us(7)
    assert times[-1] == us(119) + 5_000


def test_one_wrong_time_stamp_does_no_harm() -> None:
    source = SourceTime()
    times = [source.to_dose_us(us(i + (86_400 if i == 60 else 0)), us(i) + 5_000) for i in range(120)]
    assert [t - us(i) for i, t in enumerate(times)] == [5_000] * 120


def test_a_backlog_of_minutes_is_no_clock_that_was_set() -> None:
    source = SourceTime()
    for i in range(60):
        source.to_dose_us(us(i), us(i) + 5_000)
    times = [source.to_dose_us(us(60 + i), us(360) + i * 20_000) for i in range(300)]
    assert [abs(t - us(60 + i)) < 400_000 for i, t in enumerate(times)] == [True] * 300


def test_node_uptime_wraps_and_boots() -> None:
    node = NodeTime()
    assert node.to_dose_us(1, 2**32 - 1000, us(100), False) == us(100)
    assert node.to_dose_us(1, 0, us(101), False) == us(101)
    assert node.to_dose_us(2, 50, us(130), False) == us(130)
    assert after_32(3, 2**32 - 2) == 5
    assert after_32(2**32 - 2, 3) == -5


def test_register_lines_pass_once_each_over_a_wrap() -> None:
    order = RegisterOrder()
    lines = [line(1, (2**32 - 2 + i) % 2**32, i * 1000, i) for i in range(5)]
    assert [order.admit(x) for x in [lines[0], lines[1], lines[1], lines[3], lines[2], lines[4], lines[0]]] == [
        True, True, False, True, False, True, False
    ]
    assert order.admit(line(2, 0, 500, 0), us(1))
    assert not order.admit(lines[4], us(1))  # the old boot is over
    assert order.late == 4


def test_one_line_of_elsewhere_does_not_make_a_node_deaf() -> None:
    """An old line that was held up, another node on the topic: the node that goes on is heard on."""
    order = RegisterOrder()
    assert order.admit(line(3, 50, 50_000, 0))
    assert not order.admit(line(2, 900, 900_000, 0), us(1)), "up for 15 minutes, though another was heard a second ago"
    assert all(order.admit(line(3, 50 + i, 50_000 + i * 1000, 0), us(1)) for i in range(1, 100))
    taken = [order.admit(line(2, 901 + i, 901_000 + i * 1000, 0), us(1 + i)) for i in range(8)]
    assert taken == [False] * 4 + [True] * 4, "until only the other one is there"


@given(st.lists(st.integers(0, 40), min_size=1, max_size=120), st.randoms(use_true_random=False))
def test_doubled_and_overtaken_readings_count_once_and_in_order(picks: list[int], rng: random.Random) -> None:
    """Every number arrives at least once, doubled at will, displaced by up to five places."""
    numbers = sorted({*range(0, 41), *picks})
    stream = [(n + rng.uniform(0, 5), n) for n in numbers for _ in range(1 + picks.count(n))]
    stream.sort()
    order, out = MomentOrder(), []
    for i, (_, n) in enumerate(stream):
        out += [r.seq for r, _ in order.feed(MomentReading(float(n), None, n), us(i * 0.1))]
    out += [r.seq for r, _ in order.due(us(1000))]
    first = min(n for _, n in stream[:1])
    assert out == [n for n in numbers if n >= first] or out == sorted(set(out))
    assert len(out) == len(set(out))
    assert set(out) >= {n for n in numbers if n >= first}


def test_a_gap_is_waited_for_and_then_let_go() -> None:
    order = MomentOrder()
    assert [r.seq for r, _ in order.feed(MomentReading(1.0, None, 1), us(1))] == [1]
    assert order.feed(MomentReading(3.0, None, 3), us(3)) == []
    assert order.due(us(4.9)) == []
    assert [r.seq for r, _ in order.due(us(5.1))] == [3]
    assert order.feed(MomentReading(2.0, None, 2), us(6)) == []
    assert order.late == 1


def test_by_time_alone_late_ones_are_left_out_and_a_clock_set_back_is_followed() -> None:
    order = MomentOrder()
    passed = []
    for t in [1.0, 2.0, 3.0, 3.0, 2.0, 4.0, -3600.0, -3599.0, -3598.0, -3597.0]:
        passed += [r.source_s for r, _ in order.feed(MomentReading(1.0, t), us(10))]
    assert passed == [1.0, 2.0, 3.0, 4.0, -3598.0, -3597.0]
    assert order.restarts == 1


def test_a_source_that_counts_anew_is_heard() -> None:
    order = MomentOrder()
    for n in (100, 101, 102):
        order.feed(MomentReading(float(n), None, n), us(n))
    assert [r.seq for r, _ in order.feed(MomentReading(9.0, None, 0), us(110))] == [0]
