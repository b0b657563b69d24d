"""The daemon as a process: memory, share of a core and wake-ups while it serves; how fast it and its commands start."""

from __future__ import annotations

import contextlib
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

from support.bench import RunningBench

from uvdose.journal.schema import open_writing
from uvdose.journal.summing import catch_up

from .common import Row, memory_mb, peer, plain, row, share, side_by_side, usage
from .nodes import Node, settings
from .year_rows import NAME as OF_THE_YEAR
from .year_rows import year_journal

RATE_HZ = 10.0
ROOT = Path(__file__).resolve().parents[2]


def daemon_rows(quick: bool) -> list[Row]:
    """1 and 16 sensors at 10 Hz, an exposure open on each; beside it, at the same time, a bare reading process. Before
    that one sensor that says nothing."""
    seconds = 3.0 if quick else 30.0
    return [*_idle(seconds), *(r for count in (1, 16) for r in _serving(count, seconds))]


def _idle(seconds: float) -> list[Row]:
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        node, double = (stack.enter_context(Node(400, 0x1000)) for _ in range(2))
        bare = stack.enter_context(peer("read", double.path))
        bench = stack.enter_context(RunningBench(folder, settings([node.path])))
        time.sleep(3.0)
        assert bench.process is not None
        pids = (bench.process.pid, bare.pid)
        before = [usage(pid) for pid in pids]
        time.sleep(seconds)
        ours, other = (share(b, usage(pid)) for b, pid in zip(before, pids, strict=True))
    what = "serve: 1 silent sensor"
    return [
        plain(f"{what}, share of a core", "%", 100 * ours.cpu, 100 * other.cpu, note=f"{seconds:g} s"),
        plain(f"{what}, wake-ups", "1/s", ours.wakeups, other.wakeups, note="voluntary switches, all threads"),
    ]


def _serving(count: int, seconds: float) -> list[Row]:
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        nodes = [stack.enter_context(Node(400, 0x1000 + i)) for i in range(count)]
        doubles = [stack.enter_context(Node(400, 0x1000 + i)) for i in range(count)]
        bare = stack.enter_context(peer("read", *(d.path for d in doubles)))
        bench = stack.enter_context(RunningBench(folder, settings([n.path for n in nodes])))
        every = [*nodes, *doubles]
        _feed(every, 1.0)
        bench.target("long", 1e8)
        for i in range(count):
            bench.expose("long", sensor=f"s{i}", frame=str(i), override=True)
            _feed(every, 0.1)
        _feed(every, 2.0)
        assert bench.process is not None
        pids = (bench.process.pid, bare.pid)
        before = [usage(pid) for pid in pids]
        _feed(every, seconds)
        ours, other = (share(b, usage(pid)) for b, pid in zip(before, pids, strict=True))
        (rss, pss), (bare_rss, bare_pss) = (memory_mb(pid) for pid in pids)
        taken = bench.sensor("s0")["readings"]
        stack.enter_context(_page(bench))
        _feed(every, 1.0)
        before = [usage(pid) for pid in pids]
        _feed(every, seconds)
        paged, beside = (share(b, usage(pid)) for b, pid in zip(before, pids, strict=True))
    what = f"serve: {count} sensor{'s' * (count > 1)} at {RATE_HZ:g} Hz"
    note = f"{seconds:g} s, {count} exposure{'s' * (count > 1)} open, {taken} readings of s0"
    return [
        plain(f"{what}, share of a core", "%", 100 * ours.cpu, 100 * other.cpu, note=note),
        plain(f"{what}, wake-ups", "1/s", ours.wakeups, other.wakeups, note="voluntary switches, all threads"),
        plain(f"serve, page open: {count} at {RATE_HZ:g} Hz, share", "%", 100 * paged.cpu, 100 * beside.cpu),
        plain(f"serve, page open: {count} at {RATE_HZ:g} Hz, wake-ups", "1/s", paged.wakeups, beside.wakeups),
        plain(f"{what}, RSS", "MB", rss, bare_rss, note=f"PSS {pss:.1f} against {bare_pss:.1f}"),
    ]


@contextlib.contextmanager
def _page(bench: RunningBench) -> Iterator[None]:
    """The stream of one page, read as it comes."""
    token = {"Authorization": f"Bearer {bench.token}"}
    asked = urllib.request.Request(f"{bench.url}/api/v1/live", headers=token)
    with urllib.request.urlopen(asked, timeout=10) as stream:

        def read() -> None:
            with contextlib.suppress(OSError, ValueError, AttributeError):
                while stream.read1(65536):
                    pass

        reader = threading.Thread(target=read, daemon=True)
        reader.start()
        yield
        bench.stop()  # which ends the stream, and the reader with it
        reader.join(10)


def _feed(nodes: list[Node], seconds: float) -> None:
    """A line of each node ten times a second, one node after the other over the whole tenth, as boards not in step."""
    begin = time.monotonic()
    for i in range(round(seconds * RATE_HZ)):
        for k, node in enumerate(nodes):
            time.sleep(max(0.0, begin + (i + k / len(nodes)) / RATE_HZ - time.monotonic()))
            node.say()
            node.look(0)
    time.sleep(max(0.0, begin + seconds - time.monotonic()))


def start_rows(quick: bool) -> list[Row]:
    """Start to `ready`, `--help` and imports, against an interpreter that does nothing."""
    rounds = 3 if quick else 7
    with tempfile.TemporaryDirectory() as name, Node() as node:
        bench = RunningBench(Path(name), settings([node.path]))

        def ready() -> float:
            begin = time.perf_counter()
            bench.start()
            took = time.perf_counter() - begin
            bench.stop()
            return 1000 * took

        ready()  # the first start makes the journal
        serve, helped, light, heavy, nothing = side_by_side(
            rounds,
            ready,
            _python("-m", "uvdose", "--help"),
            _python("-c", "from uvdose.cli.app import tree; tree()"),
            _python("-c", "import uvdose.daemon"),
            _python("-c", "pass"),
        )
    return [
        row("start: serve to ready", "ms", serve, nothing, better="less", note="reference in all four: python -c pass"),
        row("start: uvdose --help", "ms", helped, nothing, better="less"),
        row("start: import of the commands", "ms", light, nothing, better="less", note="all; one loads its own"),
        row("start: import of the daemon", "ms", heavy, nothing, better="less", note="uvdose.daemon"),
        *_commands(quick, rounds),
    ]


def _commands(quick: bool, rounds: int) -> list[Row]:
    """Processor time of whole commands, against an interpreter that does nothing and one that imports typer alone."""
    days = 20 if quick else 300
    with tempfile.TemporaryDirectory() as name, Node() as n, RunningBench(Path(name, "bench"), settings([n.path])):
        home = Path(name, "year")
        home.mkdir()
        year_journal(home / "journal.sqlite3", days)
        with contextlib.closing(open_writing(home / "journal.sqlite3")) as db:
            catch_up(db)
        (home / "uvdose.toml").write_text(f'[[sensor]]\nname = "{OF_THE_YEAR}"\nlink = "simulated"\n')
        called = {
            "--help": ("--help",),
            "status": ("status", "--home", str(Path(name, "bench"))),
            f"day, of {days}": ("day", "--home", str(home)),
        }
        nothing, typer, *ours = side_by_side(
            rounds, _used("-c", "pass"), _used("-c", "import typer"),
            *(_used("-m", "uvdose", *words) for words in called.values()),
        )  # fmt: skip
    return [
        row(f"start: uvdose {what}, processor", "ms", mine, bare, better="less", note=f"reference: python -c {said}")
        for what, mine in zip(called, ours, strict=True)
        for said, bare in (("pass", nothing), ("import typer", typer))
    ]


def _used(*words: str) -> Callable[[], float]:
    """Processor time of a whole process, in ms."""
    run = _python(*words)

    def used() -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        run()
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return 1000 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)

    return used


def _python(*words: str) -> Callable[[], float]:
    env = os.environ | {"PYTHONPATH": str(ROOT)}

    def run() -> float:
        begin = time.perf_counter()
        subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL, env=env, timeout=60)
        return 1000 * (time.perf_counter() - begin)

    return run
