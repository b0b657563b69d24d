"""A storm of kills: the daemon is killed at drawn moments, again and again, while print after print is made."""

from __future__ import annotations

import random
import time
from dataclasses import dataclass, field
from pathlib import Path

from faults.judge import reached_at_us
from faults.light import Light, pick
from faults.sources import SCALE, FaultyPty
from faults.watched import WatchedBench

from uvdose.review.recount import recount

PACE = 30.0
CALL_AFTER_START_S = 11.0


@dataclass
class Storm:
    """What a storm came to."""

    kills: int = 0
    prints: int = 0
    acts: int = 0
    calls: int = 0
    held: int = 0
    unheard: int = 0
    worst: float = 0.0
    latest_call_s: float = 0.0
    problems: list[str] = field(default_factory=list)


def storm(folder: Path, kills: int, seed: int) -> Storm:
    """Kill so many times; every print must come to its exact dose, every call must come, none after its end."""
    rng = random.Random(seed)
    found = Storm()
    light = Light([v for _ in range(2 + kills // 20) for v in pick(rng)])
    node = FaultyPty(folder / "node", light, rng, PACE)
    with node:
        bench = WatchedBench(folder / "home", node.settings("node"), PACE)
        bench.start()
        try:
            _prints(bench, node, rng, kills, found)
        finally:
            bench.end()
        found.problems += bench.faults
    return found


def _prints(bench: WatchedBench, node: FaultyPty, rng: random.Random, kills: int, found: Storm) -> None:
    while found.kills < kills:
        bench.wait_live("node", seconds=20)
        now_s = (time.monotonic() - node.started_s) * PACE
        target = node.light.dose(now_s, now_s + rng.uniform(30, 120)) / 10
        bench.target("print", target, lead_s=0, overshoots=[])
        number = bench.expose("print", sensor="node")
        acts = ["light"]
        calls0 = len(node.heard4)
        for _ in range(rng.randrange(2, 7)):
            time.sleep(rng.uniform(0.0, 0.5))
            if rng.random() < 0.4:
                act = "resume" if acts[-1] == "hold" else "hold"
                bench.act(number, act)
                acts.append(act)
            _kill(bench, rng, found)
            state = bench.exposure(number)["state"]
            expected = ("held",) if acts[-1] == "hold" else ("counting", "reached")
            if state not in expected:
                found.problems.append(f"kill {found.kills}: {number} is {state} after {acts}")
        if acts[-1] == "hold":
            bench.act(number, "resume")
            acts.append("resume")
        if rng.random() < 0.4:
            _out_of_reach(bench, node, number, rng, found)
        if _heard(bench, node, number, calls0, found):
            bench.ask("POST", f"/exposures/{number}/quiet")
        else:
            found.held += 1
        acknowledged_s = time.monotonic()
        if rng.random() < 0.7:
            _kill(bench, rng, found)
        bench.wait_live("node", seconds=20)
        time.sleep(0.6)
        bench.act(number, "finish")
        acts.append("finish")
        store = bench.store()
        bench.wait_for(lambda n=number, s=store: s.exposure(n).settled, 10, "settled")  # type: ignore[misc]
        if late := node.sounded_after(acknowledged_s):
            found.problems.append(f"kill {found.kills}: {len(late)} buzzes after the acknowledgement of {number}")
        kept = store.acts(number)
        if [str(a.act) for a in kept] != acts:
            found.problems.append(f"{number}: acts {acts} were taken, {[str(a.act) for a in kept]} are kept")
        reached = [e for e in bench.events(number) if e["event"] == "reached"]
        mended = sum(1 for e in bench.events(number) if e["event"] == "mended")
        if not 1 <= len(reached) <= 1 + min(mended, 1):
            found.problems.append(f"{number}: reached {len(reached)} times")
        shown = store.exposure(number).document
        if any(act.cut.boot is None for act in kept):
            # Taken before the first line after a long silence: when in it the light fell nobody knows, and it says so.
            found.unheard += 1
            truth = node.about(kept) / 1000 * SCALE
            honest = shown.bridged_s + shown.missing_s > 0 and shown.dose_low * 0.97 <= truth <= shown.dose_high * 1.03
            if not honest or not recount(store, number).same:
                found.problems.append(f"{number}: {truth} is not within {shown}, recount {recount(store, number)}")
        else:
            error = abs(shown.dose / (node.counted(kept) / 1000 * SCALE) - 1)
            found.worst = max(found.worst, error)
            if error > 1e-9 or not recount(store, number).same:
                found.problems.append(f"{number}: dose off by {error:.2e}, recount {recount(store, number)}")
        store.db.close()
        found.prints += 1
        found.acts += len(acts)


def _out_of_reach(bench: WatchedBench, node: FaultyPty, number: int, rng: random.Random, found: Storm) -> None:
    """The node cannot be reached when the call is due, and the daemon dies with the call still pending."""
    node.unplug()
    _wait_reached(bench, number)
    time.sleep(rng.choice([0.0, 0.0, 0.1, 0.5]))
    _kill(bench, rng, found)
    node.plug()
    bench.wait_live("node", seconds=20)
    time.sleep(0.5)


def _kill(bench: WatchedBench, rng: random.Random, found: Storm) -> None:
    bench.kill()
    found.kills += 1
    time.sleep(rng.choice([0.0, 0.0, 0.1, 0.6]))
    bench.start()


def _heard(bench: WatchedBench, node: FaultyPty, number: int, calls0: int, found: Storm) -> bool:
    """The call must come, at the latest some seconds after it is due; the daemon is not killed any more.

    False where it needs no acknowledgement: the sheet was held after it was reached, which is one.
    """
    _wait_reached(bench, number)
    store = bench.store()
    reached_us = reached_at_us(store, number)
    held = any(str(a.act) == "hold" and a.t_us >= reached_us for a in store.acts(number))
    store.db.close()
    if held:
        return False
    since_s = time.monotonic()
    while len(node.heard4) == calls0 and time.monotonic() < since_s + CALL_AFTER_START_S:
        time.sleep(0.02)
    if len(node.heard4) == calls0:
        found.problems.append(f"kill {found.kills}: no call for {number}")
        return True
    found.calls += 1
    found.latest_call_s = max(found.latest_call_s, time.monotonic() - since_s)
    return True


def _wait_reached(bench: WatchedBench, number: int) -> None:
    store = bench.store()
    told = "SELECT count(*) FROM event WHERE exposure = ? AND event = 'reached'"
    bench.wait_for(lambda: store.db.execute(told, (number,)).fetchone()[0], 60, "reached, and in the journal")
    store.db.close()
