"""A print that lies for weeks, as those in plant juice do (common practice, no source), on one power-up of its node.

The node's uptime is a number of 32 bits: half of its range is 24.8 days, the whole 49.7.
"""

from __future__ import annotations

import random

from exposure.test_runs import together

from uvdose.dose.account import Account
from uvdose.dose.response import Identity, Response
from uvdose.exposure.bench import Bench
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act, State
from uvdose.exposure.target import CallPlan, Target
from uvdose.model import Kind, Mark, MomentSegment, RegisterReading, RegisterSegment

RESPONSE = Response(1.0, 0.0, None, "counts.s")
HOUR_MS = 3_600_000
DAY = 24


def a_bench(number: int = 1) -> Bench:
    bench = Bench()
    bench.add_sensor("sill", Identity("sill", "native", "counts", None, 0.0, None, None, "sun"), RESPONSE)
    for hour in range(1, 11):
        take(bench, hour)
    bench.start(Plan(number, Target("juice", 1, 1e12, calls=CallPlan()), "sill", "1", RESPONSE, us(10)), us(10))
    return bench


def us(hour: int) -> int:
    return hour * HOUR_MS * 1000


def line(hour: int, presses: int = 0) -> RegisterReading:
    """Hour after hour at 400 counts; the level is told as a little more or less, so that it does not stand still."""
    ms = hour * HOUR_MS
    return RegisterReading(7, hour, ms % (1 << 32), 400_000 + hour % 7 * 500, 400 * ms, 0, presses, 0)


def take(bench: Bench, hour: int, presses: int = 0) -> None:
    bench.take("sill", [line(hour, presses)], us(hour))


def test_each_week_counts_as_the_first() -> None:
    bench = a_bench()
    for hour in range(11, 110 * DAY):
        take(bench, hour)
        assert bench.exposures[1].account.figures().dose == 400 * (hour - 10) * 3600.0, f"day {hour / DAY:.1f}"


def test_a_hold_of_weeks_takes_nothing_in() -> None:
    bench, in_light = a_bench(), 0
    acts = {5 * DAY: Act.HOLD, 35 * DAY: Act.RESUME, 62 * DAY: Act.HOLD, 64 * DAY: Act.RESUME, 90 * DAY: Act.FINISH}
    for hour in range(11, 95 * DAY):
        exposure = bench.exposures[1]
        in_light += exposure.state is State.COUNTING
        take(bench, hour)
        if hour in acts:
            bench.act(1, acts[hour], us(hour))
        assert exposure.account.figures().dose == 400 * in_light * 3600.0, f"day {hour / DAY:.1f}"


def test_a_press_after_weeks_comes_after_the_start() -> None:
    bench = a_bench()
    for hour in range(11, 30 * DAY):
        take(bench, hour)
    take(bench, 30 * DAY, presses=1)
    assert bench.exposures[1].state is State.HELD


def test_runs_of_weeks_come_to_what_their_lines_come_to() -> None:
    benches = a_bench(), a_bench()
    for begin in range(11, 60 * DAY, 12):
        lines = [line(hour) for hour in range(begin, begin + 12)]
        benches[0].take("sill", together(lines), us(begin + 12))
        benches[1].take("sill", list(lines), us(begin + 12))
        one, other = (bench.exposures[1].account.figures() for bench in benches)
        assert one == other


def test_what_a_run_reckons_with_holds_to_the_last_bit() -> None:
    """Numbers added up in another order round otherwise: a target between the two is missed, or called a line early."""
    rng = random.Random(1)
    for _ in range(500):
        response = Response(rng.choice((0.1, 0.3, 0.02)), rng.choice((0.0, 1.5)), None, "counts.s")
        account = Account(response)
        account.open(Mark(0))
        at_us = 0
        for kind in (Kind.MEASURED, Kind.BRIDGED, Kind.MISSING):
            value = rng.random() * 1000
            account.add(MomentSegment(at_us, at_us + 7_000_000, value, value + 1, kind))
            at_us += 7_000_000
        register, segments = rng.getrandbits(40), []
        for i in range(5):
            more = rng.randrange(10**6)
            segments.append(RegisterSegment(
                at_us + i * 10**6, at_us + (i + 1) * 10**6, 7, i * 1000, (i + 1) * 1000, register, register + more, 0
            ))
            register += more
        first, last = segments[0], segments[-1]
        whole = RegisterSegment(first.t0_us, last.t1_us, 7, 0, 5000, first.register0, last.register1, 0)
        low, high = account.reckoned_within(whole)
        assert low <= account.reckoned() <= high
        for segment in segments:
            account.add(segment)
            assert low <= account.reckoned() <= high
