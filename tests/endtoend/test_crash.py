"""SIGKILL in mid exposure: the dose goes on, the call is never lost, and never comes after the acknowledgement."""

from __future__ import annotations

import itertools
import os
import random
import time
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.ptynode import PtyNode
from support.textboard import TextBoard

from uvdose.exposure.record import ActRecord
from uvdose.exposure.states import Act
from uvdose.intake.node import CALL_S
from uvdose.journal.checkup import check

PACE = 20.0
KILLS = int(os.environ.get("UVDOSE_KILLS", "8"))
CLOUDS = [50.0, 20.0, 45.0, 12.0, 38.0, 55.0, 8.0, 30.0]


def _light(s: float) -> float:
    return CLOUDS[int(s // 60) % len(CLOUDS)]


def _in_light(acts: list[ActRecord]) -> list[tuple[ActRecord, ActRecord]]:
    """The stretches in the light: from a start or resume to the next hold or finish."""
    return [(a, b) for a, b in itertools.pairwise(acts) if a.act in (Act.LIGHT, Act.RESUME)]


def _settings(folder: Path) -> str:
    return (
        f'[[sensor]]\nname = "node"\nlink = "serial"\nport = "{folder}/node"\nscale = 0.01\nfull_scale = 1000000\n'
        f'[[sensor]]\nname = "board"\nlink = "serial"\nport = "{folder}/board"\nformat = "number"\nunit = "W/m2"\n'
    )


@pytest.mark.timeout(60 + 5 * KILLS)
def test_killed_at_random_moments(tmp_path: Path) -> None:
    rng = random.Random(20161106)
    table = [_light(60.0 * m) for m in range(24 * 60)]
    with (
        PtyNode(tmp_path / "node", table, pace=PACE) as node,
        TextBoard(tmp_path / "board", _light, pace=PACE) as board,
        RunningBench(tmp_path / "home", _settings(tmp_path), PACE) as bench,
    ):
        bench.wait_live("node", "board")
        bench.target("long", 1e6, lead_s=0)
        ids = {name: bench.expose("long", sensor=name, frame=name) for name in ("node", "board")}
        held = False
        for _ in range(KILLS):
            time.sleep(rng.uniform(0.02, 1.6))
            if rng.random() < 0.5:
                # An act that was told as taken must be there after the kill, which follows at once.
                for number in ids.values():
                    bench.act(number, "resume" if held else "hold")
                held = not held
            bench.kill()
            time.sleep(rng.choice([0.0, 0.6, 4.0]))
            bench.start()
            states = {bench.exposure(n)["state"] for n in ids.values()}
            assert states == {"held" if held else "counting"}
        bench.wait_live("node", "board")
        time.sleep(0.3)
        for number in ids.values():
            bench.act(number, "finish")
        bench.wait_for(lambda: all(bench.exposure(i)["settled"] for i in ids.values()), 5, "settled")
        store = bench.store()

        # Register node: exact, whatever was lost; each act lies where it was taken.
        acts = store.acts(ids["node"])
        exact = sum(
            node.register_at(b.cut.uptime_ms or 0) - node.register_at(a.cut.uptime_ms or 0) for a, b in _in_light(acts)
        )
        shown = bench.exposure(ids["node"])
        on_lines = all(a.refined is not None for a in acts)
        assert shown["dose"] == pytest.approx(exact / 1000 * 0.01, rel=1e-9 if on_lines else 2e-4)
        assert (shown["bridged_s"], shown["missing_s"]) == (0, 0)

        # Momentary sensor: what was not heard is told, and the interval holds the truth.
        epoch = store.last_epoch()
        assert epoch is not None
        since = time.clock_gettime(time.CLOCK_BOOTTIME) - time.monotonic()
        zero_s = ((board.started_s + since) * 1e6 - epoch.boot_anchor_us) * PACE / 1e6 + epoch.dose_anchor_us / 1e6
        truth = sum(
            sum(_light(s / 10) for s in range(round((a.t_us / 1e6 - zero_s) * 10), round((b.t_us / 1e6 - zero_s) * 10)))
            for a, b in _in_light(store.acts(ids["board"]))
        ) / 10 / 10
        shown = bench.exposure(ids["board"])
        assert shown["bridged_s"] + shown["missing_s"] > 0
        assert {e["event"] for e in bench.events(ids["board"])} >= {"gap"}
        assert shown["dose_low"] <= truth <= shown["dose_high"]
        assert shown["dose"] + shown["missing_dose"] == pytest.approx(truth, rel=0.15)

        # The minutes that the killed daemons summed are those of the raw readings.
        found = check(store.db, bench.home.journal_file, every_minute=True)
        assert found.ok and found.minutes_proved == found.minutes > 0


def _buzzes(node: PtyNode, pattern: int) -> int:
    """Of the daemon; the node itself, which is armed, calls beside it, for longer."""
    return sum(1 for b in node.buzzes if b.pattern == pattern and b.seconds != CALL_S)


@pytest.mark.parametrize("moment", ["before-commit", "before-call", "before-proof"])
def test_the_call_comes_though_killed_around_it(tmp_path: Path, moment: str) -> None:
    with PtyNode(tmp_path / "node", [50.0] * 600, pace=PACE) as node:
        bench = RunningBench(tmp_path / "home", _settings(tmp_path), PACE)
        try:
            bench.start(dies=moment)
            bench.wait_live("node")
            bench.target("quick", 100.0, lead_s=0)
            number = bench.expose("quick", sensor="node")
            bench.wait_dead(10)
            before = _buzzes(node, 4)
            node.unplug()
            bench.start()
            assert bench.exposure(number)["state"] == "reached" or moment == "before-commit"
            time.sleep(0.5)
            assert _buzzes(node, 4) == before, "the port is not open yet"
            node.plug()
            bench.wait_for(lambda: _buzzes(node, 4) > before, 10, "the call, when the port opens")
            assert len([e for e in bench.events(number) if e["event"] == "reached"]) == 1
            bench.ask("POST", "/quiet")
            after = _buzzes(node, 4)
            time.sleep(9.0)
            assert _buzzes(node, 4) == after
        finally:
            bench.__exit__(None, None, None)


def test_never_called_after_the_acknowledgement(tmp_path: Path) -> None:
    with PtyNode(tmp_path / "node", [50.0] * 600, pace=PACE) as node:
        bench = RunningBench(tmp_path / "home", _settings(tmp_path), PACE)
        try:
            bench.start(dies="after-quiet")
            bench.wait_live("node")
            bench.target("quick", 100.0, lead_s=0, overshoots=[])
            number = bench.expose("quick", sensor="node")
            bench.wait_for(lambda: _buzzes(node, 4) > 0, 10, "the call")
            with pytest.raises(OSError):
                bench.ask("POST", "/quiet")
            bench.wait_dead(5)
            before = _buzzes(node, 4)
            bench.start()
            time.sleep(2.5)  # until the node is heard again it calls by itself: nobody was left to tell it
            by_itself = len(node.buzzes)
            time.sleep(7.0)
            assert _buzzes(node, 4) == before and len(node.buzzes) == by_itself
            assert bench.exposure(number)["calls"] == []
        finally:
            bench.__exit__(None, None, None)


def test_a_start_told_as_taken_is_there_after_a_kill(tmp_path: Path) -> None:
    with PtyNode(tmp_path / "node", [50.0] * 600, pace=PACE) as node:
        bench = RunningBench(tmp_path / "home", _settings(tmp_path), PACE)
        try:
            bench.start(dies="after-start")
            bench.wait_live("node")
            bench.target("quick", 1e5)
            with pytest.raises(OSError):
                bench.expose("quick", sensor="node")
            at_ms = node.now_ms()
            bench.wait_dead(5)
            time.sleep(1.0)
            bench.start()
            bench.wait_live("node")
            bench.act(1, "finish")
            bench.wait_for(lambda: bench.exposure(1)["settled"], 5, "settled")
            start, finish = bench.store().acts(1)
            assert start.mark.register is not None and start.mark.uptime_ms is not None
            assert abs(start.mark.uptime_ms - at_ms) < 0.2 * 1000 * PACE
            exact = node.register_at(finish.cut.uptime_ms or 0) - node.register_at(start.cut.uptime_ms or 0)
            assert bench.exposure(1)["dose"] == pytest.approx(exact / 1000 * 0.01, rel=1e-4)
        finally:
            bench.__exit__(None, None, None)
