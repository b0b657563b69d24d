"""The call: from the line that crosses a target to `buzz` on the wire, and how far a predicted call is off."""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path

from support.bench import RunningBench

from .common import Row, peer, percentile, plain
from .nodes import Node, settings

FRAMES = 10
STEP = 100_000  # counts x ms, 1 mJ/cm² at the scale of `nodes.settings`
PATIENCE_S = 5.0
LEVEL = 400
APART_S = 0.37
QUIETLY = {"lead_s": 0, "overshoots": [], "looks": []}


def _wait_live(bench: RunningBench, node: Node) -> None:
    def live() -> bool:
        node.say()
        node.calm()
        return bool(bench.sensor("s0")["state"] == "live")

    bench.wait_for(live, 10, "live")


# from a line to its call ----------------------------------------------------------------------------------------


def call_rows(quick: bool) -> list[Row]:
    """Round trips over a pty: the daemon's call, and in turn a bare loop that writes back on each line."""
    batches = 2 if quick else 30
    ours: list[float] = []
    bare: list[float] = []
    missed = 0
    with (
        tempfile.TemporaryDirectory() as name,
        Node() as node,
        Node() as mirror,
        peer("echo", mirror.path),
        RunningBench(Path(name), settings([node.path])) as bench,
    ):
        _wait_live(bench, node)
        for k in range(FRAMES):
            bench.target(f"t{k}", k + 0.5, **QUIETLY)
        for _ in range(batches):
            ids = [bench.expose(f"t{k}", frame=str(k)) for k in range(FRAMES)]
            node.calm()
            for number in ids:
                took = _crossing(node)
                if took is None:
                    missed += 1
                else:
                    ours.append(took)
                bench.act(number, "quiet")
                node.calm()
                bare.append(_crossing(mirror) or PATIENCE_S * 1000)
                mirror.calm()
            for number in ids:
                bench.act(number, "finish")
                node.calm()
            node.say()
        known = [e for e in bench.events() if e["event"] == "reached" and not e["predicted"]]
    middle, ends = statistics.median(ours), percentile(ours, 0.99)
    note = f"{len(ours)} crossings, {FRAMES} frames open, {missed} missed, {len(known)} in the journal"
    return [
        plain("call: line to buzz, median", "ms", middle, statistics.median(bare), note=note),
        plain("call: line to buzz, p99", "ms", ends, percentile(bare, 0.99),
              note=f"worst {max(ours):.1f} ms; each is committed with full sync before it is called"),
    ]  # fmt: skip


def _crossing(node: Node) -> float | None:
    """ms from a line that takes the register over the next target to the buzz.

    The line says level 0 although its register grew, so that nothing can be predicted: only the line itself tells.
    """
    node.grown += STEP
    line = node.line()
    begin_s = time.monotonic()
    node.say(line)
    heard = node.wait("buzz 4", PATIENCE_S)
    return None if heard is None else (heard.at_s - begin_s) * 1000


# predicted calls ------------------------------------------------------------------------------------------------


def predict_rows(quick: bool) -> list[Row]:
    """Steady light, a line a second: the true register when the buzz arrives, against mark + target."""
    batches = 1 if quick else 10
    errors: list[float] = []
    at_line: list[float] = []
    with (
        tempfile.TemporaryDirectory() as name,
        Node(LEVEL) as node,
        RunningBench(Path(name), settings([node.path])) as bench,
    ):
        _wait_live(bench, node)
        counts = [round((1.2 + k * APART_S) * LEVEL * 1000) for k in range(FRAMES)]
        for k, dose in enumerate(counts):
            bench.target(f"p{k}", dose / STEP, **QUIETLY)
        ticks = _Ticks(node)
        for _ in range(batches):
            ids = []
            for k in range(FRAMES):
                ids.append(bench.expose(f"p{k}", frame=str(k)))
                ticks.until(time.monotonic() + 0.002)
            found = _reached(bench, node, ticks, ids)
            for number, dose in zip(ids, counts, strict=True):
                goal = (bench.store().acts(number)[0].cut.register or 0) + dose
                if number in found:
                    errors.append((found[number] - goal) / LEVEL)
                    at_line.append(1000 - (goal / LEVEL) % 1000)  # lines come at whole seconds of uptime
                bench.act(number, "finish")
                ticks.until(time.monotonic() + 0.002)
    off = [abs(e) for e in errors]
    note = (
        f"ms of light at 1 Hz, {FRAMES} frames open; {len(errors)} of {batches * FRAMES} calls, "
        f"from {min(errors):+.1f} to {max(errors):+.1f} (+ is late); reference: a call at the next line"
    )
    middle, ends = statistics.median(off), percentile(off, 0.99)
    return [
        plain("predict: error of the call, median", "ms", middle, statistics.median(at_line), note=note),
        plain("predict: error of the call, p99", "ms", ends, percentile(at_line, 0.99)),
        plain("predict: error of the call, worst", "ms", max(off), max(at_line)),
    ]


def _reached(bench: RunningBench, node: Node, ticks: _Ticks, ids: list[int]) -> dict[int, float]:
    """The true register at the moment each buzz arrived; targets rise in the order of the exposures."""
    waiting = list(ids)
    found: dict[int, float] = {}
    end = time.monotonic() + 4 + len(ids) * APART_S
    while waiting and time.monotonic() < end:
        for heard_s in ticks.until(time.monotonic() + 0.05, only="buzz 4"):
            number = waiting.pop(0)
            found[number] = node.register(node.uptime_ms(heard_s))
            bench.act(number, "quiet")
    return found


class _Ticks:
    """Lets a node say its line at whole seconds of its uptime while commands are waited for."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._next_s = self._whole()

    def _whole(self) -> float:
        now_s = time.monotonic()
        return now_s + (1000 - self._node.uptime_ms(now_s) % 1000) / 1000

    def until(self, end_s: float, only: str = "") -> list[float]:
        """When the commands came that begin so; returns at the first of them, or at the end."""
        while (now_s := time.monotonic()) < end_s:
            if now_s >= self._next_s:
                self._node.say()
                self._next_s = self._whole()
            heard = [h.at_s for h in self._node.look(min(end_s, self._next_s) - now_s) if h.text.startswith(only)]
            if heard and only:
                return heard
        return []
