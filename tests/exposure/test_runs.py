"""Lines that came together, added as one, leave a bench as they leave it one by one: figures, calls, each bit."""

from __future__ import annotations

import random
from collections import Counter, deque
from typing import Any

import msgspec
import pytest

from uvdose.dose.response import Identity, Response
from uvdose.exposure import runs as runs_module
from uvdose.exposure.bench import Bench
from uvdose.exposure.gate import gate_for
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import CallPlan, Target
from uvdose.model import Decoded, Reading, Refusal, RegisterReading, RegisterRun

S = 1_000_000
NAME = "sill"


def state_of(value: Any, seen: frozenset[int] = frozenset()) -> Any:
    """All that a value holds, down to numbers and texts, so that two can be compared."""
    if id(value) in seen or isinstance(value, (int, float, str, bytes, type(None), msgspec.Struct)):
        return repr(value) if isinstance(value, (float, msgspec.Struct)) else value if id(value) not in seen else "…"
    seen |= {id(value)}
    if isinstance(value, dict):
        return {key: state_of(item, seen) for key, item in value.items()}
    if isinstance(value, (list, tuple, deque)):
        return [state_of(item, seen) for item in value]
    if isinstance(value, (set, frozenset)):
        return sorted(map(repr, value))
    names = [*getattr(value, "__dict__", {}), *getattr(type(value), "__slots__", ())]
    # When the next call is due is reckoned when it is asked for, and what was reckoned is no state. Nor is it one since
    # when a value stands that does not.
    dead = {"due_us", "due_known"} | ({"_run_since_us"} if getattr(value, "_run", None) == 0 else set())
    return {name: state_of(getattr(value, name), seen) for name in names if name not in dead}


def unlike(a: Any, b: Any, path: str = "") -> list[str]:
    """Where two such states differ."""
    if isinstance(a, dict) and isinstance(b, dict) and a.keys() == b.keys():
        return [line for key in a for line in unlike(a[key], b[key], f"{path}.{key}")]
    if isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        return [line for i, (x, y) in enumerate(zip(a, b, strict=True)) for line in unlike(x, y, f"{path}[{i}]")]
    return [] if a == b else [f"{path}: {a!r:.200} is not {b!r:.200}"]


def told(out: Outcome) -> dict[str, Any]:
    """What an outcome says, a run as its lines."""
    kept: list[tuple[str, int, Reading]] = []
    for sensor, t_us, item in out.readings:
        if isinstance(item, RegisterRun):
            assert isinstance(t_us, list)
            kept += [(sensor, t, line) for t, line in zip(t_us, item.readings(), strict=True)]
        else:
            kept.append((sensor, t_us, item))  # type: ignore[arg-type]
    names = ("acts", "asks", "closed", "facts", "hushes", "news", "presses", "refined", "rings")
    changed = sorted({e.id for e in out.changed})
    return {"kept": kept, "changed": changed} | {name: getattr(out, name) for name in names}


HAPPENINGS = (
    "press", "reset", "boot", "leap", "sat", "gap", "hole", "flags", "dark", "fall", "wrap", "bright",
)


class Node:
    """A node that may do anything: press, reset, restart, leap, stand still, saturate, lose lines, send old ones."""

    def __init__(self, rng: random.Random, wild: float) -> None:
        self.rng, self.wild = rng, wild
        self.step_ms = rng.choice((100, 100, 200, 1000, 3000))
        self.level, self.quiet = rng.choice((400_000, 40_000, 900_000)), rng.choice((300, 3000, 60_000, 0))
        self.line = RegisterReading(rng.getrandbits(32), 0, 0, 0, 0, 0, 0, 0)
        self.now_us = 0

    def next(self) -> RegisterReading:
        rng, last = self.rng, self.line
        step_ms, level = self.step_ms, self.level + rng.randint(-self.quiet, self.quiet)
        boot, seq, uptime, register = last.boot, last.seq + 1, last.uptime_ms, last.register
        sat, presses, flags = last.sat_ms, last.presses, last.flags & ~0x08
        if rng.random() < self.wild:
            match rng.choice(HAPPENINGS):
                case "press":
                    presses += 1
                case "reset":
                    flags |= 0x08
                case "boot":
                    boot, seq, uptime, register, sat, presses = rng.getrandbits(32), 0, 0, 0, 0, 0
                case "leap":
                    register += 10**12
                case "sat":
                    level, sat = 1_023_000, sat + step_ms
                case "gap":
                    step_ms *= rng.randrange(2, 40)
                    seq += rng.choice((0, 5))
                case "hole":
                    step_ms += rng.choice((12_000, 30_000, 90_000))
                case "flags":
                    flags = rng.choice((0, 1, 2, 4, 6))
                case "dark":
                    level = rng.choice((0, -5, 2000))
                case "fall":
                    register = max(0, register - 10**6)
                case "wrap":
                    uptime, seq = (1 << 32) - rng.randrange(1, 5000), (1 << 32) - 3
                case "bright":
                    level = rng.randrange(1_023_000)
        level = max(0, level)
        self.level = min(1_000_000, max(2000, level))
        self.now_us += step_ms * 1000
        register += level * step_ms // 1000
        self.line = RegisterReading(
            boot, seq % (1 << 32), (uptime + step_ms) % (1 << 32), level, register, sat, presses, flags,
        )
        return self.line


def together(lines: list[RegisterReading]) -> list[Decoded]:
    """The lines as the decoder gives them when they come at once and tell of nothing but time and light."""
    out: list[Decoded] = []
    while lines:
        first, n = lines[0], 1
        same = (first.boot, first.sat_ms, first.presses, first.flags)
        while n < len(lines) and (lines[n].boot, lines[n].sat_ms, lines[n].presses, lines[n].flags) == same:
            n += 1
        part, lines = lines[:n], lines[n:]
        columns = [[getattr(r, name) for r in part] for name in ("seq", "uptime_ms", "level_milli", "register")]
        out.append(RegisterRun(same[0], *columns, *same[1:]) if n > 1 else first)
    return out


class Twin:
    """Two benches that are given the same, one by runs and one by lines."""

    def __init__(self, response: Response, identity: Identity) -> None:
        self.benches = Bench(), Bench()
        for bench in self.benches:
            bench.add_sensor(NAME, identity, response)
            bench.link(NAME, True, "", 0)

    def both(self, call: Any) -> None:
        outs = []
        for bench in self.benches:
            try:
                outs.append(told(call(bench)))
            except Refusal as refusal:
                outs.append({"refused": refusal.line})
        assert outs[0] == outs[1]

    def check(self) -> None:
        """All that they hold is the same, to the last bit."""
        assert not unlike(*(state_of([bench.exposures, bench.channels]) for bench in self.benches))

    def take(self, lines: list[RegisterReading], arrival_us: int) -> None:
        one_by_one = list(lines)
        runs = together(lines)
        outs = self.benches[0].take(NAME, runs, arrival_us), self.benches[1].take(NAME, one_by_one, arrival_us)
        assert told(outs[0]) == told(outs[1])
        self.both(lambda bench: bench.tick(arrival_us))


def counting(monkeypatch: pytest.MonkeyPatch) -> Counter[bool]:
    """How often runs are taken as one, and how often they are not."""
    counted = Counter[bool]()
    as_one = runs_module._as_one

    def count(*given: Any) -> bool:
        counted[done := as_one(*given)] += 1
        return done

    monkeypatch.setattr(runs_module, "_as_one", count)
    return counted


@pytest.mark.parametrize("seed", range(24))
def test_runs_and_lines_come_to_the_same(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(seed)
    wild = rng.choice((0.0, 0.002, 0.02))
    counted = counting(monkeypatch)
    node = Node(rng, wild)
    live(rng, node)
    assert counted[True] + counted[False] > 50


def test_an_honest_node_is_nearly_always_taken_as_one(monkeypatch: pytest.MonkeyPatch) -> None:
    counted = counting(monkeypatch)
    for seed in range(4):
        rng = random.Random(seed)
        node = Node(rng, 0.0)
        node.step_ms, node.level, node.quiet = 100, 400_000, 3000
        live(rng, node, gates=0.0)
    assert counted[True] > 2 * counted[False], counted


def live(rng: random.Random, node: Node, gates: float = 0.1) -> None:
    """Some hours of a bench. gates: share of prints that begin by light."""
    full, zero = rng.choice((None, 1023.0)), rng.choice((0.0, 0.0, 1.5))
    response = Response(rng.choice((0.1, 0.3)), zero, full, rng.choice(("mJ/cm2", "counts.s")), 0.01, 0.002)
    twin = Twin(response, Identity(NAME, "native", "counts", 0.01, zero, None, full, "sun"))
    held: list[RegisterReading] = []
    arrival_us, number = 0, 0
    for _ in range(100):
        for _ in range(rng.choice((1, 1, 12, 60, 150))):
            line = node.next()
            if rng.random() > node.wild:  # else it is lost
                held.append(line)
        arrival_us = max(arrival_us, node.now_us + rng.choice((500, 20_000, 2_000_000)))
        if rng.random() < 0.3 and node.wild:
            continue  # held up: it comes with the next
        if rng.random() < node.wild * 5:
            held.insert(rng.randrange(len(held) + 1), node.line)
        while held:
            size = rng.choice((1, 7, 60, 200))
            twin.take(held[:size], arrival_us)
            held = held[size:]
            arrival_us += rng.choice((0, 300, 5000))
        twin.check()
        action = rng.random()
        if action < 0.1:
            number += 1
            gate = gate_for(3000.0, None) if rng.random() < gates else None
            target = Target("blue", 1, rng.choice((50.0, 2000.0, 1e5)), calls=CallPlan(looks=(0.5,)))
            begin_us = arrival_us + rng.choice((0, 0, 3 * S))
            plan = Plan(number, target, NAME, str(number), response, begin_us, gate=gate)
            twin.both(lambda bench, plan=plan, now_us=arrival_us: bench.start(plan, now_us))
        elif action < 0.3 and number:
            act, which = rng.choice((Act.HOLD, Act.RESUME, Act.FINISH)), rng.randint(1, number)
            twin.both(lambda bench, act=act, which=which, now_us=arrival_us: bench.act(which, act, now_us))
        elif action < 0.35:
            arrival_us += rng.choice((3 * S, 70 * S))
            node.now_us = max(node.now_us, arrival_us - 2 * S)
            twin.both(lambda bench, now_us=arrival_us: bench.tick(now_us))


def test_a_thousand_lines_are_one_segment() -> None:
    """Closed form: 1000 lines of 100 ms at 400 counts, of which a print gets all after its start, to the last count."""
    response = Response(1.0, 0.0, None, "counts.s")
    bench = Bench()
    bench.add_sensor(NAME, Identity(NAME, "native", "counts", None, 0.0, None, None, "sun"), response)
    lines = [RegisterReading(7, i, i * 100, 400_000 + i % 2, i * 40_000, 0, 0, 0) for i in range(1, 1101)]
    for line in lines[:100]:
        bench.take(NAME, [line], line.uptime_ms * 1000)
    plan = Plan(1, Target("far", 1, 1e9, calls=CallPlan()), NAME, "1", response, 10_000_000)
    bench.start(plan, 10_000_000)
    for at in range(100, 1100, 50):
        out = bench.take(NAME, together(lines[at : at + 50]), lines[at + 49].uptime_ms * 1000)
    assert isinstance(out.readings[-1][2], RegisterRun)
    assert bench.exposures[1].account.figures().dose == 400 * 100.0


@pytest.mark.parametrize("together_", [True, False], ids=["runs", "lines"])
def test_a_burst_is_told_as_late_once(together_: bool) -> None:
    """A minute that comes at once is late by its oldest line; the next that comes in time ends it. So is a node that
    sends eight seconds at a time: it stays late, and is not told anew with each message.
    """
    bench = Bench()
    response = Response(1.0, 0.0, None, "counts.s")
    bench.add_sensor(NAME, Identity(NAME, "native", "counts", None, 0.0, None, None, "sun"), response)
    lines = [RegisterReading(7, i, i * 1000, 400_000 + i % 7, i * 400_000, 0, 0, 0) for i in range(1, 400)]
    facts: list[str] = []

    def take(some: list[RegisterReading]) -> list[tuple[str, str]]:
        out = bench.take(NAME, together(some) if together_ else list(some), some[-1].uptime_ms * 1000 + 500)
        facts.extend(fact.name for fact in out.facts)
        return [(fact.name, str(fact.data.get("alarm"))) for fact in out.facts]

    for line in lines[:100]:
        take([line])
    assert take(lines[100:160]) == [("alarm", "backlog")]
    assert take(lines[160:161]) == [("cleared", "backlog")]
    assert [take(lines[at : at + 8]) for at in range(161, 393, 8)] == [[("alarm", "backlog")], *[[]] * 28]
