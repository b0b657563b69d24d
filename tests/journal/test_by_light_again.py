"""Begun by the light: a restart at any moment gives the marks and the dose that the run without one gives."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from support.again import Journalled, acts, sums

from uvdose.exposure.record import LightGate
from uvdose.exposure.states import Act, State

GATE = LightGate(on=20.0, off=10.0)
BRIGHT, DARK, BETWEEN = 400.0, 20.0, 150.0


def _light(rng: random.Random, seconds: int) -> list[float]:
    """Light and dark for half a second up to ten, so that many changes do not last; light between the thresholds."""
    values: list[float] = []
    while len(values) < 2 * seconds:
        values += [rng.choice([BRIGHT, BRIGHT, DARK, DARK, BETWEEN]) + rng.randrange(9)] * rng.choice([1, 3, 5, 7, 20])
    return values


@pytest.mark.parametrize("native", [False, True], ids=["values", "register"])
@pytest.mark.parametrize("seed", range(3))
def test_restart_at_any_moment(tmp_path: Path, native: bool, seed: int) -> None:
    rng = random.Random(seed)
    bench = Journalled(tmp_path / "j", native)
    for _ in range(10):
        bench.take(bench.reading(DARK, 0.5))
    number = bench.start(GATE)
    beside = [bench.again()]
    for value in _light(rng, 120):
        bench.take(bench.reading(value, 0.5), *beside)
        exposure = bench.bench.exposures[number]
        if rng.random() < 0.03:
            wanted = {State.COUNTING: Act.HOLD, State.HELD: Act.RESUME}.get(exposure.state)
            if wanted is not None:
                bench.wait(0.12)
                bench.act(number, wanted, *beside)
        for other in beside:
            assert acts(other, number) == acts(bench.bench, number)
            assert sums(other) == sums(bench.bench)
        beside = [*beside[-7:], bench.again()]
    bench.act(number, Act.FINISH, *beside)
    bench.take(bench.reading(BRIGHT, 0.5), *beside)
    assert {a.by_light for a in exposure.acts} == {True, False} and len(exposure.acts) > 5
    assert all(sums(other) == sums(bench.bench) for other in beside)
    assert bench.recounted(number).account.figures() == sums(bench.bench)[number]
    exact = sum(b.cut.t_us - a.cut.t_us for a, b in zip(exposure.acts[::2], exposure.acts[1::2], strict=False)) / 1e6
    assert sums(bench.bench)[number].measured_s == pytest.approx(exact, abs=0.01)


def test_a_hold_by_light_that_is_taken_back_comes_again_only_after_light(tmp_path: Path) -> None:
    bench = Journalled(tmp_path / "j", native=False)
    for value in [DARK] * 5:
        bench.take(bench.reading(value))
    number = bench.start(GATE)
    for value in [BRIGHT] * 20 + [DARK] * 10:
        bench.take(bench.reading(value))
    assert bench.bench.exposures[number].state is State.HELD
    bench.db.execute("UPDATE act SET withdrawn = 1 WHERE number = 1")
    taken_back = bench.again()
    for _ in range(10):
        bench.wait(1.0)
        bench.bench.take("sill", [reading := bench.reading(DARK, 0.0)], bench.now_us)
        taken_back.take("sill", [reading], bench.now_us)
    assert taken_back.exposures[number].state is State.COUNTING
    assert sums(taken_back)[number].measured_s == 39
    for value in [BRIGHT] * 3 + [DARK] * 4:
        taken_back.take("sill", [bench.reading(value)], bench.now_us)
    assert taken_back.exposures[number].state is State.HELD
