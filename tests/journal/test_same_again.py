"""Counted live, counted again, gone on after a restart: the same bit for bit, however long the sensor stood still."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from support.again import Journalled, sums

from uvdose.dose.response import Response, response_of
from uvdose.exposure.bench import Bench
from uvdose.exposure.states import Act
from uvdose.journal.prune import prune

MINUTE = 60


def _noisy(rng: random.Random, seconds: int, level: float = 400.0) -> list[float]:
    return [round(level + rng.gauss(0, 3), 1) for _ in range(seconds)]


@pytest.mark.parametrize("native", [False, True], ids=["values", "register"])
@pytest.mark.parametrize("before_min", [0, 10, 30, 90])
def test_frozen_longer_than_the_preroll(tmp_path: Path, native: bool, before_min: int) -> None:
    """It froze an hour and a half before the print, or just now: what it does not see is missing in each count."""
    rng = random.Random(5)
    bench = Journalled(tmp_path / "j", native)
    for value in _noisy(rng, 5 * MINUTE):
        bench.take(bench.reading(value))
    for _ in range(before_min * MINUTE + 30):
        bench.take(bench.reading(400.0))
    number = bench.start()
    for _ in range(150):
        bench.take(bench.reading(400.0))
    again = bench.again()
    assert sums(again) == sums(bench.bench), "a restart while it is frozen"
    for value in [*[400.0] * 20, *_noisy(rng, 20)]:
        bench.take(bench.reading(value), again)
    bench.act(number, Act.FINISH, again)
    bench.take(bench.reading(401.0), again)
    live = sums(bench.bench)
    assert live[number].missing_s == pytest.approx(171, abs=1)
    assert sums(again) == live and bench.recounted(number).account.figures() == live[number]


def _series(rng: random.Random) -> list[float]:
    """Hours of light in which the sensor freezes, goes dark, saturates and is steady, for seconds or for hours."""
    values: list[float] = []
    while len(values) < 4 * 3600:
        kind = rng.choice(["noise", "noise", "frozen", "dark", "full", "lamp", "zero"])
        seconds = rng.choice([3, 30, 200, 90 * MINUTE]) if kind == "frozen" else rng.choice([5, 60, 300, 30 * MINUTE])
        if kind == "noise":
            values += _noisy(rng, max(seconds, 130), rng.choice([40.0, 400.0, 900.0]))
        elif kind == "frozen":
            values += [values[-1] if values else 12.0] * seconds
        else:
            values += [{"dark": 0.3, "full": 1023.0, "lamp": 500.0, "zero": 0.0}[kind]] * seconds
    return values


@pytest.mark.parametrize("seed", range(6))
def test_any_series_at_any_moment(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    bench = Journalled(tmp_path / "j", native=False)
    values = _series(rng)
    moments = {rng.randrange(300, len(values)) for _ in range(12)}
    number, others = None, ()
    for i, value in enumerate(values):
        bench.take(bench.reading(value, rng.choice([1.0, 1.0, 1.0, 0.9])), *others)
        if i not in moments:
            continue
        if number is None:
            number = bench.start()
            others = ()
        elif rng.random() < 0.4:
            bench.act(number, Act.FINISH, *others)
            bench.take(bench.reading(value), *others)
            figures = bench.bench.exposures[number].account.figures()
            assert bench.recounted(number).account.figures() == figures
            assert all(sums(other)[number] == figures for other in others)
            number, others = None, ()
        else:
            others = (bench.again(),)
            assert sums(others[0])[number] == sums(bench.bench)[number]
    assert len(bench.bench.exposures) > 1


@pytest.mark.parametrize("seed", range(4))
def test_settings_that_change_under_prints(tmp_path: Path, seed: int) -> None:
    """Zero, scale and full scale change while prints count: each goes on with the response that it began with, and
    live, a restart and a recount still agree to the bit.
    """
    rng = random.Random(1000 + seed)
    bench = Journalled(tmp_path / "j", native=seed % 2 == 1)
    values = _series(rng)
    changes = {rng.randrange(300, len(values)) for _ in range(25)}
    starts = {rng.randrange(300, len(values)) for _ in range(6)}
    others: tuple[Bench, ...] = ()
    begun: dict[int, Response] = {}
    for i, value in enumerate(values):
        bench.take(bench.reading(value), *others)
        if i in changes:
            bench.change(*others, zero=rng.choice([0.0, 0.3, 3.5, 11.0]), scale=rng.choice([0.01, 0.02, None]),
                         full_scale=rng.choice([1023.0, 950.0, None]), zero_u=rng.choice([0.0, 0.4]))
        if i in starts:
            number = bench.start()
            begun[number] = response_of(bench.sensor)
            others = (bench.again(),)
    bench.take(bench.reading(3.0), *others)
    live = sums(bench.bench)
    assert len(set(begun.values())) > 1 and len(bench.store.db.execute("SELECT id FROM sensor").fetchall()) > 10
    assert sums(others[0]) == live == sums(bench.again())
    for number, response in begun.items():
        assert bench.bench.exposures[number].account.response == response
        assert bench.recounted(number).account.figures() == live[number]


def test_many_short_runs_of_the_daemon_hide_no_readings(tmp_path: Path) -> None:
    """Each run begins a chunk of its own: the verdict on a slow sensor still reaches back over all it needs."""
    rng = random.Random(2)
    bench = Journalled(tmp_path / "j", native=False)
    for value in _noisy(rng, 300):
        bench.take(bench.reading(value, 60.0))
        if bench.now_us // 60_000_000 % 4 == 0:
            bench.again()
            bench.recorder = type(bench.recorder)(bench.db, lambda t_us: t_us)
            bench.recorder.sensor(bench.bench.channels["sill"].identity)
    number = bench.start()
    for _ in range(20):
        bench.take(bench.reading(400.0, 60.0))
    live = sums(bench.bench)
    assert live[number].missing_s > 0
    assert sums(bench.again()) == live


def test_pruning_keeps_what_a_frozen_value_was_told_from(tmp_path: Path) -> None:
    rng = random.Random(9)
    bench = Journalled(tmp_path / "j", native=False)
    for value in [*_noisy(rng, 90 * MINUTE), *[400.0] * 90 * MINUTE]:
        bench.take(bench.reading(value))
    number = bench.start()
    for value in [400.0] * 90:
        bench.take(bench.reading(value))
    bench.act(number, Act.FINISH)
    for value in _noisy(rng, 90 * MINUTE):
        bench.take(bench.reading(value))
    live = sums(bench.bench)[number]
    assert live.missing_s == 90 and bench.recounted(number).account.figures() == live
    assert prune(bench.db, bench.now_us, dry_run=False).readings_deleted > 2 * 60 * MINUTE
    assert bench.recounted(number).account.figures() == live
