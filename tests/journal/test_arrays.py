"""Readings counted anew as arrays leave an exposure and its sensor's light as readings one by one do, to the bit."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from exposure.test_runs import Node, state_of, unlike
from support.again import Journalled

from uvdose.exposure.states import Act
from uvdose.journal import arrays, counting, replay
from uvdose.journal.replay import count_anew
from uvdose.model import MomentReading, RegisterReading

S = 1_000_000


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few readings at a time, so that there are many seams."""
    monkeypatch.setattr(replay, "MANY", 1)
    monkeypatch.setattr(arrays, "CHUNKS", 3)
    monkeypatch.setattr(counting, "LEAST", 4)


def both_ways(bench: Journalled) -> int:
    """Count every exposure both ways, and compare all that they hold; returns how many readings were added together."""
    bench._write(bench.recorder.flush())
    together = 0
    light = counting._light

    def counted(*given: object) -> object:
        nonlocal together
        together += 1
        return light(*given)  # type: ignore[arg-type]

    counting._light = counted  # type: ignore[assignment]
    try:
        numbers = [number for (number,) in bench.db.execute("SELECT id FROM exposure ORDER BY id")]
        for kept in map(bench.store.exposure, numbers):
            one, many = count_anew(bench.store, kept), count_anew(bench.store, kept, in_bulk=True)
            assert not unlike(state_of([one.exposure, one.track]), state_of([many.exposure, many.track])), kept.plan.id
            assert (one.readings, one.last_us) == (many.readings, many.last_us)
    finally:
        counting._light = light
    return together


def spend(bench: Journalled, node: Node, rng: random.Random, native: bool) -> None:
    """A day of acts under a node's light, or under the same light as momentary values."""
    running: list[int] = []
    for _ in range(60):
        for _ in range(rng.choice((5, 40, 200))):
            line = node.next()
            bench.now_us = max(bench.now_us + rng.choice((0, 100)), 5_000 * S + node.now_us)
            value = line.level_milli / 1000
            bench.take(line if native else MomentReading(value, None, rng.choice((None, line.seq))))
        action = rng.random()
        heard = bench.bench.channels["sill"].track.last
        if action < 0.3 and heard is not None:
            running.append(bench.start())
        elif action < 0.7 and running:
            number = rng.choice(running)
            open_ = bench.bench.exposures[number].account.is_open
            act = rng.choice((Act.FINISH, Act.HOLD)) if open_ else rng.choice((Act.FINISH, Act.RESUME))
            bench.act(number, act)
            if act is Act.FINISH:
                running.remove(number)
        elif action < 0.8:
            bench.change(zero=rng.choice((0.0, 3.0)), full_scale=rng.choice((1023.0, 900.0)))


@pytest.mark.parametrize("native", [False, True], ids=["values", "register"])
@pytest.mark.parametrize("seed", range(8))
def test_arrays_and_readings_come_to_the_same(tmp_path: Path, seed: int, native: bool) -> None:
    rng = random.Random(seed)
    bench = Journalled(tmp_path / "j", native, full_scale=rng.choice((1023.0, None)))
    node = Node(rng, rng.choice((0.0, 0.003, 0.02)))
    spend(bench, node, rng, native)
    assert both_ways(bench) > 20 or node.quiet == 0 or node.wild == 0.02


@pytest.mark.parametrize("native", [False, True], ids=["values", "register"])
@pytest.mark.parametrize("before", [0, 3, 40])
def test_values_that_stand(tmp_path: Path, native: bool, before: int) -> None:
    """Noise, then the same value for long, more than once: frozen or not, it is told alike at each seam."""
    rng = random.Random(before)
    bench = Journalled(tmp_path / "j", native)
    number = 0
    for turn in range(6):
        noisy = 90 if turn % 2 == 0 else before
        for i in range(noisy):
            bench.take(bench.reading(round(400 + rng.gauss(0, 9))))
            if turn == 2 and i == 50:
                number = bench.start()
        for _ in range(rng.choice((5, 6, 7, 11, 12, 13, 130))):
            bench.take(bench.reading(400.0 if turn != 3 else 0.0))
    bench.act(number, Act.FINISH)
    bench.take(bench.reading(401.0))
    assert both_ways(bench) > 2


def test_a_damaged_chunk_is_told(tmp_path: Path) -> None:
    bench = Journalled(tmp_path / "j", native=True)
    number = 0
    for i in range(500):
        bench.take(bench.reading(400 + i % 3))
        number = number or bench.start()
    bench.act(number, Act.FINISH)
    bench.take(bench.reading(400))
    bench._write(bench.recorder.flush())
    kept = bench.store.exposure(number)
    bench.db.execute("UPDATE chunk SET data = (SELECT data FROM chunk ORDER BY id DESC LIMIT 1) WHERE id = 2")
    for damage in ("UPDATE chunk SET data = x'00' WHERE id = 2", "UPDATE chunk SET data = zeroblob(900) WHERE id = 3"):
        with pytest.raises(replay.Refusal, match="cannot be read"):
            count_anew(bench.store, kept, in_bulk=True)
        bench.db.execute(damage)


def test_closed_form(tmp_path: Path) -> None:
    """A ramp of momentary values: the trapezoid of a straight line is its integral (any calculus book)."""
    bench = Journalled(tmp_path / "j", native=False, full_scale=None)
    bench.take(bench.reading(0.0))
    number = bench.start()
    for second in range(1, 1001):
        bench.take(bench.reading(float(second)))
    bench.act(number, Act.FINISH)
    bench.take(bench.reading(1001.0))
    bench._write(bench.recorder.flush())
    counted = count_anew(bench.store, bench.store.exposure(number), in_bulk=True)
    dose = counted.exposure.account.figures().dose
    assert dose == pytest.approx(1000**2 / 2 * 0.01 * 10, rel=1e-12)  # 0.01 mW/cm² a count is 0.1 W/m²
    assert isinstance(counted.track.last.reading if counted.track.last else None, MomentReading | RegisterReading)


def test_damage_beyond_a_print_is_none_of_its_own(tmp_path: Path) -> None:
    bench = Journalled(tmp_path / "j", native=True)
    number = 0
    for i in range(900):
        bench.take(bench.reading(400 + i % 3))
        number = number or bench.start()
        if i == 250:
            bench.act(number, Act.FINISH)
    bench._write(bench.recorder.flush())
    bench.db.execute("UPDATE chunk SET data = x'00' WHERE id > (SELECT min(id) + 2 FROM chunk)")
    one, many = (count_anew(bench.store, bench.store.exposure(number), in_bulk=bulk) for bulk in (False, True))
    assert one.readings == many.readings and not unlike(state_of(one.exposure), state_of(many.exposure))
