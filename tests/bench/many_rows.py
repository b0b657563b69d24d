"""Two hundred sensors at one real Mosquitto: one daemon with all of them, and ten with twenty each.

Beside them, at the same broker and the same time, a bare subscriber that takes every line and does nothing with it.
"""

from __future__ import annotations

import contextlib
import json
import statistics
import tempfile
import time
from pathlib import Path

from support.bench import RunningBench
from support.broker import Broker

from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store

from .common import Row, hear, memory_mb, peer, percentile, plain, share, tell, usage
from .many_nodes import CALLERS

PROGRAM = Path(__file__).with_name("many_nodes.py")
SENSORS, CONNECTIONS = 200, 10
LONG = 20  # sensors with a print under them that does not end
QUIETLY = {"lead_s": 0, "overshoots": [], "looks": []}


def many_rows(quick: bool) -> list[Row]:
    """200 nodes at 1 Hz and at 10 Hz on one daemon, at 1 Hz on ten daemons."""
    rows: list[Row] = []
    for daemons, hz in ((1, 1.0), (1, 10.0), (10, 1.0)):
        rows += _rows(daemons, hz, 4.0 if quick else 30.0)
    return rows


def settings(name: str, numbers: list[int], port: int) -> str:
    """A bench with these nodes: 100 counts are 1 mW/cm²."""
    blocks = "".join(
        f'[[sensor]]\nname = "n{i}"\nlink = "mqtt"\ntopic = "nodes/n{i}"\nscale = 0.01\nfull_scale = 100000\n'
        for i in numbers
    )
    return f'[bench]\nname = "{name}"\n[mqtt]\nport = {port}\n{blocks}'


def _rows(daemons: int, hz: float, seconds: float) -> list[Row]:
    each = SENSORS // daemons
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        broker = stack.enter_context(_unbounded())
        own = [[*range(d * each, (d + 1) * each)] for d in range(daemons)]
        nodes = stack.enter_context(
            peer("nodes", broker.port, SENSORS, hz, CONNECTIONS, program=PROGRAM)
        )
        bare = stack.enter_context(peer("bare", broker.port, program=PROGRAM))
        started, benches = [], []
        for d, numbers in enumerate(own):
            bench = RunningBench(folder / f"b{d}", settings(f"b{d}", numbers, broker.port))
            begin_s = time.perf_counter()
            benches.append(stack.enter_context(bench))
            started.append(1000 * (time.perf_counter() - begin_s))
            bench.wait_for(lambda b=bench: not any("link" in s["alarm_keys"] for s in _status(b)), 30, "subscribed")
        time.sleep(1.0)
        tell(nodes, "go")
        for bench in benches:
            bench.wait_for(lambda b=bench: all(s["state"] == "live" for s in _status(b)), 60, "all of them live")
        calls = _begin(benches, own)
        time.sleep(2.0)
        pids = [b.process.pid for b in benches if b.process is not None]
        before, bare_before, broker_before = [usage(p) for p in pids], usage(bare.pid), usage(broker.pid)
        ages, answers = [], []
        took = [_cross(nodes, bench, number, k) for k, (bench, number) in calls]
        end_s = time.monotonic() + seconds
        while time.monotonic() < end_s:
            begin_s = time.perf_counter()
            told = _status(benches[0])
            answers.append(1000 * (time.perf_counter() - begin_s))
            ages.append(max(s["age_s"] for s in told))
            time.sleep(0.5)
        ours = [share(b, usage(p)) for b, p in zip(before, pids, strict=True)]
        other, carried = share(bare_before, usage(bare.pid)), share(broker_before, usage(broker.pid))
        rss = sum(memory_mb(p)[0] for p in pids)
        bare_rss = memory_mb(bare.pid)[0]
        tell(nodes, "end")
        sent = json.loads(hear(nodes))
        tell(bare, "end")
        bare_seen = int(hear(bare))
        late = sum(s["late"] for b in benches for s in _status(b))
        for bench in benches:
            bench.stop()
        lost, doubled = _counted(benches, own, sent["sent"])
    what = f"many: {SENSORS} sensors at {hz:g} Hz, {daemons} daemon{'s' if daemons > 1 else ''}"
    lines = sum(sent["sent"])
    note = f"{lines:,} lines, {bare_seen:,} at the bare one; the latest was sent {sent['latest_ms']:.0f} ms late"
    called = [t for t in took if t is not None]
    return [
        plain(f"{what}, core", "%", 100 * sum(o.cpu for o in ours), 100 * other.cpu, note=f"share of one core; {note}"),
        plain(f"{what}, Mosquitto", "%", 100 * carried.cpu, None, note="share of one core, for both"),
        plain(f"{what}, RSS", "MB", rss, bare_rss, note="all daemons together"),
        plain(f"{what}, lost", "lines", lost, lines - bare_seen, note="sent, and not in the journal"),
        plain(f"{what}, doubled", "lines", doubled, None, note=f"in the journal twice; {late} came late"),
        plain(f"{what}, line to buzz", "ms", statistics.median(called) if called else float("nan"), None,
              note=f"committed in between; worst {max(called, default=float('nan')):.0f}; {len(took) - len(called)} of"
                   f" {len(took)} missed"),
        plain(f"{what}, oldest reading", "ms", 1000 * percentile(ages, 0.5), None,
              note=f"of any sensor in `status`, median; worst {1000 * max(ages):.0f}; a line comes each {1000 / hz:g}"),
        plain(f"{what}, start to ready", "ms", statistics.median(started), None, note=f"worst {max(started):.0f}"),
        plain(f"{what}, status", "ms", statistics.median(answers), None, note=f"of {each} sensors, while it counts"),
    ]  # fmt: skip


def _unbounded() -> Broker:
    """A broker that drops nothing of what a slow client has not taken yet."""
    made = Broker()
    with (made.folder / "broker.conf").open("a") as config:
        config.write("max_queued_messages 0\nmax_inflight_messages 0\n")
    return made


def _status(bench: RunningBench) -> list[dict[str, float]]:
    found: list[dict[str, float]] = bench.ask("GET", "/status")["sensors"]
    return found


def _begin(benches: list[RunningBench], own: list[list[int]]) -> list[tuple[int, tuple[RunningBench, int]]]:
    """Prints that do not end on `LONG` of all sensors, and one that ends at the next step on each that calls."""
    at = {i: bench for bench, numbers in zip(benches, own, strict=True) for i in numbers}
    for bench in benches:
        bench.target("long", 1e8)
        bench.target("step", 0.5, **QUIETLY)
    for i in range(CALLERS, SENSORS, (SENSORS - CALLERS) // LONG):
        at[i].expose("long", sensor=f"n{i}", frame=f"f{i}", override=True)
    return [(i, (at[i], at[i].expose("step", sensor=f"n{i}", frame=f"f{i}", override=True))) for i in range(CALLERS)]


def _cross(nodes: object, bench: RunningBench, number: int, k: int) -> float | None:
    """ms from the line that takes a node over its print's target to the buzz."""
    tell(nodes, f"cross {k}")  # type: ignore[arg-type]
    took = json.loads(hear(nodes))  # type: ignore[arg-type]
    bench.act(number, "quiet")
    bench.act(number, "finish")
    return None if took is None else float(took)


def _counted(benches: list[RunningBench], own: list[list[int]], sent: list[int]) -> tuple[int, int]:
    """How many lines are in no journal, and how many are in one twice."""
    lost = doubled = 0
    for bench, numbers in zip(benches, own, strict=True):
        store = Store(open_reading(bench.home.journal_file))
        for i in numbers:
            got = [getattr(r, "seq", -1) for _, r in store.readings(f"n{i}", 0)]
            lost += len(set(range(sent[i])) - set(got))
            doubled += len(got) - len(set(got))
        store.db.close()
    return lost, doubled
