"""Sums of minutes against closed forms, and against pandas and numpy on the same readings."""

from __future__ import annotations

import math
import random
from functools import reduce
from itertools import pairwise
from operator import add

import msgspec
import numpy as np
import pandas as pd
import pytest

from uvdose.dose.minute import MINUTE_US, MinuteSums, Row, minute_sums
from uvdose.model import MeanReading, MomentReading, RegisterReading

S = 1_000_000


def moments(times: list[int], values: list[float]) -> list[Row]:
    return [(t, MomentReading(v)) for t, v in zip(times, values, strict=True)]


def lines(times_s: list[float], counts: list[int], boot: int = 7, sat_ms: int = 0) -> list[Row]:
    """A node whose uptime is dose time: `counts` is the level that it had since the line before."""
    found: list[Row] = []
    register, last_ms = 0, 0
    for k, (at_s, level) in enumerate(zip(times_s, counts, strict=True)):
        ms = round(at_s * 1000)
        register += level * (ms - last_ms)
        last_ms = ms
        found.append((ms * 1000, RegisterReading(boot, k, ms, level * 1000, register, sat_ms * k, 0, 0)))
    return found


def whole(found: dict[int, MinuteSums]) -> MinuteSums:
    return reduce(add, found.values())


def test_a_half_sine_day() -> None:
    """Radiant exposure of a half-sine day is 2 E0 T / pi; trapezoid over exact is (pi/2n) cot(pi/2n): closed forms."""
    e0, hours, n = 50.0, 6, 6 * 360
    times = [k * 10 * S for k in range(n + 1)]
    rows = moments(times, [e0 * math.sin(math.pi * k / n) for k in range(n + 1)])
    total = whole(minute_sums(rows, 0, None, None))
    exact = 2 * e0 * hours * 3600 / math.pi
    assert exact == pytest.approx(687549.354, abs=5e-4)
    assert total.measured / exact == pytest.approx(math.pi / (2 * n) / math.tan(math.pi / (2 * n)), rel=1e-12)
    assert (total.measured_us, total.bridged_us, total.n) == (hours * 3600 * S, 0, n + 1)


def test_a_straight_line_is_cut_exactly_at_each_minute() -> None:
    """The integral of a straight line over a minute is its value in the middle times 60 s."""
    rows = moments([k * 7 * S for k in range(61)], [2.0 * k * 7 + 1 for k in range(61)])
    found = minute_sums(rows, 0, None, None)
    for minute in range(7):
        assert found[minute].measured == pytest.approx((2.0 * (minute * 60 + 30) + 1) * 60, rel=1e-12)
        assert found[minute].measured_us == MINUTE_US


def _oracle(rows: list[Row], shift_us: int) -> pd.DataFrame:
    """Minute by minute with pandas and numpy: edges of minutes put in between, then the trapezoid rule."""
    wall = np.array([t + shift_us for t, _ in rows])
    values = np.array([r.value for _, r in rows])  # type: ignore[union-attr]
    read = pd.Series(values, index=pd.to_datetime(wall, unit="us")).resample("min").agg(["count", "sum", "max"])
    edges = np.arange(wall[0] // MINUTE_US + 1, wall[-1] // MINUTE_US + 1) * MINUTE_US
    at = np.unique(np.concatenate([wall, edges]))
    light = np.interp(at, wall, values)
    step = np.diff(at) / S
    middle = pd.to_datetime((at[:-1] + at[1:]) // 2, unit="us")
    area = pd.Series(step * (light[:-1] + light[1:]) / 2, index=middle).resample("min").sum()
    return read.join(area.rename("area"), how="outer")


@pytest.mark.parametrize("seed", range(12))
def test_the_sums_are_those_of_pandas_however_the_readings_are_cut_into_blocks(seed: int) -> None:
    rng = random.Random(seed)
    t_us, times, values = rng.randrange(10 * S), [], []
    for _ in range(rng.randrange(50, 900)):
        t_us += rng.randrange(1, 3 * S)
        times.append(t_us)
        values.append(rng.uniform(-1, 50))
    rows, shift_us = moments(times, values), 1_782_036_000_123_456
    parts: list[dict[int, MinuteSums]] = []
    begin = 0
    while begin < len(rows):
        end = begin + rng.randrange(1, 121)
        before = rows[begin - 1] if begin else None
        parts.append(minute_sums(rows[begin:end], shift_us, before, 45.0))
        begin = end
    found: dict[int, MinuteSums] = {}
    for part in parts:
        for minute, sums in part.items():
            found[minute] = found[minute] + sums if minute in found else sums
    oracle = _oracle(rows, shift_us)
    assert [pd.Timestamp(m * 60, unit="s") for m in sorted(found)] == list(oracle.index)
    for minute, (_, row) in zip(sorted(found), oracle.iterrows(), strict=True):
        sums = found[minute]
        assert (sums.n, sums.strongest) == (row["count"], row["max"])
        assert sums.total == pytest.approx(row["sum"], rel=1e-12, abs=1e-9)
        assert sums.measured == pytest.approx(row["area"], rel=1e-9, abs=1e-9)
    total = whole(found)
    assert total.measured_us == times[-1] - times[0] and total.bridged_us == 0
    assert total.full_n == sum(v >= 45.0 for v in values)
    pairs = list(zip(times, values, times[1:], values[1:], strict=False))
    assert total.full_us == sum(t1 - t0 for t0, v0, t1, v1 in pairs if max(v0, v1) >= 45.0)
    first, last = min(found), max(found)
    assert first * MINUTE_US + (found[first].first_us or 0) == times[0] + shift_us
    assert last * MINUTE_US + (found[last].last_us or 0) == times[-1] + shift_us


def test_a_register_gives_its_exact_difference_though_lines_are_lost() -> None:
    rng = random.Random(7)
    every = lines([float(k) for k in range(600)], [rng.randrange(1000) for _ in range(600)])
    some = [row for k, row in enumerate(every) if k in (0, 599) or rng.random() < 0.4]
    first, last = every[0][1], every[-1][1]
    assert isinstance(first, RegisterReading) and isinstance(last, RegisterReading)
    total = whole(minute_sums(some, 0, None, 1023.0))
    assert total.measured * 1000 == pytest.approx(last.register - first.register, rel=1e-12)
    assert total.measured_us == 599 * S


@pytest.mark.parametrize(("pause_s", "bridged_s", "measured_s"), [(9, 0, 9), (40, 40, 0), (60, 60, 0), (61, 0, 0)])
@pytest.mark.parametrize("native", [True, False])
def test_holes_are_bridged_up_to_a_minute_and_missing_beyond(
    pause_s: int, bridged_s: int, measured_s: int, native: bool
) -> None:
    times = [float(k) for k in range(20)]
    times += [times[-1] + pause_s + k for k in range(20)]
    rows = lines(times, [400] * 40) if native else moments([round(t * S) for t in times], [400.0] * 40)
    total = whole(minute_sums(rows, 0, None, None))
    assert (total.measured_us, total.bridged_us) == ((38 + measured_s) * S, bridged_s * S)
    assert total.bridged == pytest.approx(400.0 * bridged_s)
    assert total.measured == pytest.approx(400.0 * (38 + measured_s))


def test_a_slow_sensor_is_measured_between_its_readings() -> None:
    rows = moments([k * 300 * S for k in range(12)], [10.0] * 12)
    total = whole(minute_sums(rows, 0, None, None))
    assert (total.measured_us, total.bridged_us) == (11 * 300 * S, 0)
    assert len(minute_sums(rows, 0, None, None)) == 56, "minutes without a reading have light, too"


def test_a_power_up_counts_from_nothing_and_a_leap_is_not_believed() -> None:
    """The node was off for 15 s; its register then counts from 0."""
    before = lines([float(k) for k in range(30)], [400] * 30)
    again = [
        ((29 + 15 + k) * S, RegisterReading(8, k, k * 1000, 400_000, 400 * k * 1000, 0, 0, 0)) for k in range(1, 20)
    ]
    total = whole(minute_sums([*before, *again], 0, None, 1023.0))
    assert (total.measured_us, total.bridged_us) == ((29 + 19) * S, 15 * S)
    assert total.measured == pytest.approx(400.0 * 48) and total.bridged == pytest.approx(400.0 * 15)
    leapt = [
        (t, msgspec.structs.replace(r, register=r.register + (10**9 if t >= 10 * S else 0)))
        for t, r in before if isinstance(r, RegisterReading)
    ]
    total = whole(minute_sums(leapt, 0, None, 1023.0))
    assert (total.measured_us, total.bridged_us) == (28 * S, S)
    assert total.measured == pytest.approx(400.0 * 28) and total.bridged == pytest.approx(400.0)


@pytest.mark.parametrize("seed", range(6))
def test_no_minute_is_stronger_than_its_readings_though_lines_come_late(seed: int) -> None:
    """Steady light, lines held up by up to 2 s, as they are where a bench runs a hundred times faster, and a pause
    in which nobody listened. A register over the node's own time is the light's mean, by the definition of both."""
    rng = random.Random(seed)
    told = lines([float(k) for k in range(600)], [404] * 600)
    late = [rng.choice([0, 0, rng.randrange(2 * S)]) for _ in told]
    come, last_us = [], 0
    for (t_us, line), late_us in zip(told, late, strict=True):
        if not 200 * S < t_us < 220 * S:
            last_us = max(last_us, t_us + late_us)
            come.append((last_us, line))
    found = minute_sums(come, 0, None, 1023.0)
    total = whole(found)
    assert total.measured + total.bridged == pytest.approx(404.0 * 599)
    assert total.measured_us + total.bridged_us == pytest.approx(599 * S, abs=len(found) + 1)
    for sums in found.values():
        mean = (sums.measured + sums.bridged) / ((sums.measured_us + sums.bridged_us) / S)
        assert mean == pytest.approx(404.0, rel=1e-6)


def test_a_nodes_saturated_time_is_told_whole() -> None:
    total = whole(minute_sums(lines([k * 2.5 for k in range(100)], [1023] * 100, sat_ms=700), 0, None, 1023.0))
    assert total.full_us == 99 * 700_000 and total.full_n == 100


def test_values_that_are_no_light_leave_no_sum_that_is_no_number() -> None:
    rows = moments([k * S for k in range(5)], [1.0, math.inf, -math.inf, 1e300, 1.0])
    total = whole(minute_sums(rows, 0, None, None))
    assert (total.n, total.total, total.measured) == (2, 2.0, 4.0)


@pytest.mark.parametrize("seed", range(12))
def test_means_hold_flat_over_their_stretch_however_they_are_cut_into_blocks(seed: int) -> None:
    """Oracle: pandas over single seconds, each with the mean that covers it, holes of up to 60 s straight."""
    rng = random.Random(seed)
    rows: list[Row] = []
    end_s = first_s = rng.randrange(60)
    light: dict[int, tuple[float, bool]] = {}
    for _ in range(rng.randrange(30, 300)):
        span_s, hole_s = rng.choice([1, 30, 60, 60, 90, 600]), rng.choice([0, 0, 0, 0, 7, 60, 61, 400])
        value, last = round(rng.uniform(0, 50), 3), rows[-1][1].value if rows else 0.0  # type: ignore[union-attr]
        if 0 < hole_s <= 60 and rows:
            steps = (value - last) / hole_s
            light |= {end_s + k: (last + steps * (k + 0.5), True) for k in range(hole_s)}
        begin_s, end_s = end_s + hole_s, end_s + hole_s + span_s
        light |= {k: (value, False) for k in range(begin_s, end_s)}
        rows.append((end_s * S, MeanReading(value, None, None, span_s * S)))
    shift_us = rng.randrange(3) * 17 * S
    seconds = pd.DataFrame(
        light.values(), columns=["light", "bridged"],
        index=pd.to_datetime([k * S + shift_us for k in light], unit="us"),
    )
    told = seconds.groupby([seconds.index.floor("min"), "bridged"])["light"].agg(["sum", "count"]).unstack(fill_value=0)
    found: dict[int, MinuteSums] = {}
    cuts = sorted({0, len(rows), *(rng.randrange(len(rows)) for _ in range(rng.randrange(6)))})
    for a, b in pairwise(cuts):
        for minute, sums in minute_sums(rows[a:b], shift_us, rows[a - 1] if a else None, None).items():
            found[minute] = found[minute] + sums if minute in found else sums
    assert sum(m.n for m in found.values()) == len(rows) and first_s * S < rows[0][0]
    assert {m for m, sums in found.items() if sums.measured_us or sums.bridged_us} == {
        at.value // 1000 // MINUTE_US for at in told.index.as_unit("ns")
    }
    for at, row in told.iterrows():
        sums = found[int(at.timestamp()) // 60]  # type: ignore[attr-defined]
        for kind, mine, mine_us in ((False, sums.measured, sums.measured_us), (True, sums.bridged, sums.bridged_us)):
            if ("sum", kind) in row.index:
                assert mine == pytest.approx(row["sum", kind], rel=1e-9, abs=1e-9)
                assert mine_us == row["count", kind] * S


def test_a_mean_belongs_to_the_minute_in_which_its_stretch_ends() -> None:
    """By the definition of a mean: one of the minute that ends at 60 s tells of that minute, and of no other."""
    found = minute_sums([(k * MINUTE_US, MeanReading(float(k), None, None, MINUTE_US)) for k in (1, 2)], 0, None, 2.0)
    assert {m: (s.n, s.strongest, s.measured, s.full_us) for m, s in found.items()} == {
        0: (1, 1.0, 60.0, 0), 1: (1, 2.0, 120.0, MINUTE_US)
    }
    assert [(s.first_us, s.last_us) for s in found.values()] == [(MINUTE_US, MINUTE_US)] * 2
