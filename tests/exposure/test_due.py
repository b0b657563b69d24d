"""When a bench is due is reckoned anew only for the sensor that something happened to. It comes to what it comes to
when all sensors and exposures are asked each time.
"""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from support.again import Journalled

from uvdose.dose.response import Identity, Response
from uvdose.exposure.bench import Bench
from uvdose.exposure.due import channel_due_us, exposure_due_us
from uvdose.exposure.exposure import NO_DUE
from uvdose.exposure.gate import gate_for
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import CallPlan, Target
from uvdose.model import BadInput, Decoded, MomentReading, Refusal, RegisterReading

S = 1_000_000
FIELDS = ("acts", "asks", "closed", "facts", "hushes", "news", "presses", "readings", "refined", "rings")


def asked_of_all(bench: Bench, now_us: int) -> int:
    """The plain way: every channel and every exposure is asked."""
    lit = {e.plan.sensor for e in bench.exposures.values() if e.account.is_open}
    dues = [
        exposure_due_us(e, bench.channels[e.plan.sensor], bench.pace, now_us) for e in bench.exposures.values()
    ]
    dues += [channel_due_us(c, c.name in lit, now_us) for c in bench.channels.values()]
    return min(dues, default=NO_DUE)


class Plain(Bench):
    """A bench that asks all of them each time."""

    def next_us(self, now_us: int) -> int:
        return asked_of_all(self, now_us)


def told(out: Outcome) -> dict[str, Any]:
    """What an outcome says."""
    return {name: getattr(out, name) for name in FIELDS} | {"changed": [e.id for e in out.changed]}


class Pair:
    """Two benches that are given the same; one asks all, one asks those that something happened to."""

    def __init__(self, rng: random.Random, pace: float, sensors: int) -> None:
        self.rng = rng
        self.now_us = 100 * S
        self.benches = Bench(pace), Plain(pace)
        self.native = {f"s{i}": rng.random() < 0.5 for i in range(sensors)}
        self.response = Response(1.0, 0.0, 1023.0, "counts.s", 0.01, 0.002)
        for name, native in self.native.items():
            self.add(name, native)
            if rng.random() < 0.5:  # the daemon has just begun again: nothing is predicted until the node has spoken
                for bench in self.benches:
                    bench.channels[name].resumed(self.now_us, int(5 * S * pace))
        self.lines = dict.fromkeys(self.native, RegisterReading(7, 0, 0, 0, 0, 0, 0, 0))
        self.began_us = self.now_us
        self.number = 0
        self.dues: list[int] = []
        self.seen = Counter[str]()

    def add(self, name: str, native: bool) -> None:
        identity = Identity(name, "native" if native else "number", "counts", None, 0.0, None, 1023.0, "sun")
        for bench in self.benches:
            bench.add_sensor(name, identity, self.response)

    def both(self, call: Any) -> None:
        outs = []
        for bench in self.benches:
            try:
                outs.append(told(call(bench)))
            except Refusal as refusal:
                outs.append({"refused": refusal.line})
        assert outs[0] == outs[1]
        self.seen.update(f.name for f in outs[0].get("facts", ()))
        self.see()

    def see(self) -> None:
        """When both are due next, as the core asks after whatever came."""
        ours, plain = (bench.next_us(self.now_us) for bench in self.benches)
        assert ours == plain, (ours - plain, self.now_us)
        self.dues.append(ours)

    def item(self, name: str) -> Decoded:
        rng = self.rng
        if rng.random() < 0.05:
            return BadInput("not a number", "x")
        value = rng.choice((0, 40, 400, 400, 900, 1023))
        if not self.native[name]:
            return MomentReading(float(value))
        last = self.lines[name]
        uptime_ms = (self.now_us - self.began_us) // 1000
        register = last.register + value * (uptime_ms - last.uptime_ms)
        presses = last.presses + (rng.random() < 0.03)
        boot = last.boot + (rng.random() < 0.01)
        self.lines[name] = RegisterReading(boot, last.seq + 1, uptime_ms, value * 1000, register, 0, presses, 0)
        return self.lines[name]

    def step(self) -> None:
        """Time passes, and one thing happens."""
        rng, what = self.rng, self.rng.random()
        self.now_us += rng.choice((1000, 20_000, 300_000, S, S, 3 * S, 15 * S, 65 * S if rng.random() < 0.2 else S))
        now_us, name = self.now_us, rng.choice([*self.native])
        if what < 0.55:
            item = self.item(name)
            self.both(lambda bench: bench.take(name, [item], now_us))
        elif what < 0.75:
            if rng.random() < 0.5:  # at the very moment, or some time after it
                self.now_us = now_us = max(now_us, min(now_us + 400 * S, self.dues[-1])) if self.dues else now_us
            self.both(lambda bench: bench.tick(now_us))
        elif what < 0.8:
            up = rng.random() < 0.7
            if rng.random() < 0.5:
                self.both(lambda bench: bench.link(name, up, "gone", now_us))
            else:
                self.both(lambda bench: bench.alarm(name, "flood", up, now_us))
        elif what < 0.87:
            self.number += 1
            calls = CallPlan(lead_s=rng.choice((0.0, 20.0)), looks=rng.choice(((), (0.5,))), overshoots=(0.25,))
            plan = Plan(
                self.number, Target("blue", 1, rng.choice((200.0, 5000.0, 1e6)), calls=calls), name, str(self.number),
                self.response, now_us + rng.choice((-2 * S, 0, 0, 10 * S)),
                gate=gate_for(3000.0, None) if rng.random() < 0.2 else None,
            )
            self.both(lambda bench: bench.start(plan, now_us))
        elif self.number and what < 0.97:
            act = rng.choice((Act.HOLD, Act.HOLD, Act.RESUME, Act.RESUME, Act.FINISH, Act.VOID, Act.AGAIN))
            which = rng.randint(max(1, self.number - 6), self.number)
            at_us = now_us - rng.choice((0, 0, 0, 30 * S))
            self.both(lambda bench: bench.act(which, act, at_us))
        elif what < 0.98:
            self.both(lambda bench: bench.quiet(None, now_us))
        elif what < 0.99:
            for bench in self.benches:
                bench.forget_settled(2)
            self.see()
        elif self.number:
            which = rng.randint(1, self.number)
            if all(which in bench.exposures for bench in self.benches):
                self.both(lambda bench: bench.mend(bench.exposures[which], "moved", now_us))


@pytest.mark.parametrize("pace", [1.0, 60.0])
@pytest.mark.parametrize("seed", range(30))
def test_a_bench_is_due_when_all_its_sensors_and_exposures_say_so(seed: int, pace: float) -> None:
    pair = Pair(random.Random(seed), pace, sensors=random.Random(seed).choice((1, 2, 5)))
    for step in range(600):
        pair.step()
        if step == 300:  # a sensor of the settings that comes later
            pair.native["late"] = True
            pair.lines["late"] = RegisterReading(7, 0, 0, 0, 0, 0, 0, 0)
            pair.add("late", True)
            pair.see()
    assert {"started", "held", "alarm", "reached"} <= set(pair.seen), pair.seen
    assert len(set(pair.dues)) > 50


@pytest.mark.parametrize("native", [True, False])
def test_a_bench_begun_from_its_journal_is_due_likewise(tmp_path: Path, native: bool) -> None:
    """Also while its node has not spoken yet, and once what it waits for has passed."""
    kept = Journalled(tmp_path / "journal", native)
    for _ in range(20):
        kept.take(kept.reading(100.0))
    running, held, ended = kept.start(), kept.start(), kept.start()
    kept.take(kept.reading(100.0))
    kept.act(held, Act.HOLD)
    kept.act(ended, Act.FINISH)
    for _ in range(3):
        kept.wait(4.0)
        bench, now_us, dues = kept.again(), kept.now_us, set()
        for _ in range(800):
            dues.add(due_us := bench.next_us(now_us))
            assert due_us == asked_of_all(bench, now_us)
            now_us += 100_000
            if now_us % (7 * S) < 100_000:
                bench.tick(now_us)
        assert len(dues) > 2
    bench.take("sill", [kept.reading(100.0, 90.0)], kept.now_us)
    bench.act(running, Act.FINISH, kept.now_us)
    assert bench.next_us(kept.now_us) == asked_of_all(bench, kept.now_us) < NO_DUE
