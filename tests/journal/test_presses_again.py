"""Presses, acts, settings read anew and lines that come in a heap, in seeded disorder: what is counted live, after a
restart and in a recount is the same bit for bit, and no window of light ends before it begins or lies over another.
"""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import msgspec
import pytest
from support.again import Journalled, sums

from uvdose.exposure.arming import wanted
from uvdose.exposure.bench import Bench
from uvdose.exposure.record import LightGate, Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.model import Reading, Refusal

STEPS = 400


def _start(bench: Journalled, rng: random.Random) -> None:
    gate = rng.choice([None, None, LightGate(1.0, 0.5, 2.0)])
    response = bench.bench.channels["sill"].track.response
    target = Target("blue", 1, rng.choice([20.0, 200.0, 2000.0]))
    number = bench.recorder.next_exposure()
    plan = Plan(number, target, "sill", str(number), response, bench.now_us, gate=gate)
    bench.settle(bench.bench.start(plan, bench.now_us))


def _act(bench: Journalled, rng: random.Random) -> None:
    """A person's act, between a node's press and its being heard, as likely as not."""
    bench.wait(rng.choice([0.0, 0.1, 0.4]))
    which = rng.choice(bench.bench.running())
    try:
        out = bench.bench.act(which.id, rng.choice([Act.HOLD] * 9 + [Act.RESUME] * 9 + [Act.FINISH]), bench.now_us)
    except Refusal:
        return
    bench.settle(out)


def _check_windows(bench: Bench) -> None:
    for exposure in bench.exposures.values():
        windows = exposure.account.windows
        assert all(w.stop is None or w.start.t_us <= w.stop.t_us for w in windows), windows
        for one, other in itertools.pairwise(windows):
            assert one.stop is not None and one.stop.t_us <= other.start.t_us, windows


# 5002: a start that was fixed on the line of the press that holds it at once.
@pytest.mark.parametrize("seed", [0, 1, 2, 5002])
def test_in_any_order(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    bench = Journalled(tmp_path / "j", native=True, zero=rng.choice([0.0, 3.0]))
    for _ in range(20):
        bench.take(bench.reading(400.0))
    presses, flags, level = 0, 0, 400.0
    heap: list[Reading] = []
    held = 0
    for _ in range(STEPS):
        if rng.random() < 0.02:
            level = rng.choice([0.0, 5.0, 40.0, 400.0, 900.0, 1023.0])
        flags ^= rng.choice([2, 4, 6, 1]) if rng.random() < 0.03 else 0
        presses += rng.choice([0] * 12 + [1, 1, 1, 2, 3, 7, 1000])
        seconds = rng.choice([1.0, 1.0, 1.0, 1.0, 0.3, 0.05, 3.0, 9.0, 12.0, 45.0, 70.0])
        heap.append(msgspec.structs.replace(bench.reading(level, seconds), presses=presses, flags=flags))
        if not (rng.random() < 0.15 and len(heap) < 6):
            if rng.random() < 0.3 and bench.bench.running():
                _act(bench, rng)
            out = bench.bench.take("sill", list(heap), bench.now_us)
            held += sum(fact.name == "pressed" and "what" in fact.data for fact in out.facts)
            bench.settle(out)
            heap.clear()
        if rng.random() < 0.3:
            bench.settle(bench.bench.tick(bench.now_us))
        if not bench.bench.running() or (len(bench.bench.running()) < 3 and rng.random() < 0.02):
            _start(bench, rng)
        if rng.random() < 0.01:
            bench.change(zero=rng.choice([0.0, 1.0, 5.0]))
        _check_windows(bench.bench)
        wanted(bench.bench.exposures.values(), bench.bench.channels["sill"])
        if rng.random() < 0.03:
            again, live = sums(bench.again()), sums(bench.bench)
            assert all(again[number] == live[number] for number in again.keys() & live.keys())
            assert again.keys() & live.keys()
        if rng.random() < 0.03:
            for number, exposure in bench.bench.exposures.items():
                assert bench.recounted(number).account.figures() == exposure.account.figures()
    assert held > 3, "presses that did something"
