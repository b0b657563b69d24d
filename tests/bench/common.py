"""What all rows share: the row itself, runs side by side, and what the system says of a process."""

from __future__ import annotations

import contextlib
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

PEERS = Path(__file__).with_name("peers.py")
CONSUMER = Path(__file__).with_name("consumer.py")
END_S = 10.0


class Row(NamedTuple):
    """One line of the table. ratio: ours / reference. better: whether "more" or "less" of it is good."""

    name: str
    unit: str
    ours: float
    reference: float | None
    ratio: float | None
    better: str
    note: str


def row(
    name: str, unit: str, ours: Sequence[float], reference: Sequence[float], *, better: str = "more", note: str = ""
) -> Row:
    """A row of the medians of paired runs; its ratio is the median of the pairs' ratios, its spread in the note."""
    ratios = sorted(a / b for a, b in zip(ours, reference, strict=True))
    spread = f"ratio {brief(ratios[0])}..{brief(ratios[-1])} in {len(ratios)} rounds"
    return Row(
        name,
        unit,
        statistics.median(ours),
        statistics.median(reference),
        statistics.median(ratios),
        better,
        f"{note}; {spread}" if note else spread,
    )


def plain(name: str, unit: str, ours: float, reference: float | None, *, better: str = "less", note: str = "") -> Row:
    """A row of two figures that are no medians of pairs; reference None where there is none."""
    ratio = None if not reference else ours / reference
    return Row(name, unit, ours, reference, ratio, better, note)


def side_by_side(rounds: int, *runs: Callable[[], float]) -> list[list[float]]:
    """Run each in turn, A B A B…; the figures of each."""
    figures: list[list[float]] = [[] for _ in runs]
    for _ in range(rounds):
        for kept, run in zip(figures, runs, strict=True):
            kept.append(run())
    return figures


def seconds_of(run: Callable[[], object]) -> float:
    """Wall seconds that a call takes."""
    begin = time.perf_counter()
    run()
    return time.perf_counter() - begin


def percentile(values: Sequence[float], share: float) -> float:
    """The value below which this share of the values lies; the nearest one there is."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def brief(value: float | None) -> str:
    """A figure with three to four digits that mean something."""
    if value is None:
        return "-"
    size = abs(value)
    if size >= 1000:
        return f"{value:,.0f}"
    if size >= 100:
        return f"{value:.0f}"
    if size >= 10:
        return f"{value:.1f}"
    return f"{value:.3g}" if size >= 0.001 or size == 0 else f"{value:.1e}"


@contextlib.contextmanager
def peer(
    *words: object, program: Path = PEERS, fds: Sequence[int] = (), ready: bool = True
) -> Iterator[subprocess.Popen[str]]:
    """A process of this folder, ended by its own id at the end. It has said `ready` when this returns."""
    command = [sys.executable, str(program), *map(str, words)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, pass_fds=fds)
    try:
        if ready:
            said = hear(process)
            if said != "ready":
                raise RuntimeError(f"{program.name} {words[0]} said {said!r}, not ready")
        yield process
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(END_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()


def hear(process: subprocess.Popen[str]) -> str:
    """The next line that a peer prints; empty when it has ended."""
    assert process.stdout is not None
    return process.stdout.readline().strip()


def tell(process: subprocess.Popen[str], line: str) -> None:
    """One line to a peer."""
    assert process.stdin is not None
    process.stdin.write(line + "\n")
    process.stdin.flush()


class Usage(NamedTuple):
    """What a process has used up to a moment. switches: how often it gave the processor up by itself."""

    at_s: float
    cpu_s: float
    switches: int


class Share(NamedTuple):
    """What a process used between two moments, per second."""

    cpu: float
    wakeups: float


def usage(pid: int) -> Usage:
    """Sums over the threads that are alive."""
    run_ns = switches = 0
    for task in Path(f"/proc/{pid}/task").iterdir():
        run_ns += _run_ns(task)
        status = (task / "status").read_text()
        switches += int(status.split("\nvoluntary_ctxt_switches:")[1].split()[0])
    return Usage(time.monotonic(), run_ns / 1e9, switches)


def _run_ns(task: Path) -> int:
    """Run time of a thread: exact where the kernel keeps it, else in ticks of a hundredth of a second or so."""
    with contextlib.suppress(OSError):
        return int((task / "schedstat").read_text().split()[0])
    user, system = (task / "stat").read_text().rpartition(")")[2].split()[11:13]
    return (int(user) + int(system)) * 1_000_000_000 // os.sysconf("SC_CLK_TCK")


def share(before: Usage, after: Usage) -> Share:
    """The difference of two usages, per second."""
    seconds = after.at_s - before.at_s
    return Share((after.cpu_s - before.cpu_s) / seconds, (after.switches - before.switches) / seconds)


def memory_mb(pid: int) -> tuple[float, float]:
    """RSS and PSS of a process in MB of 10^6 bytes."""
    rollup = Path(f"/proc/{pid}/smaps_rollup").read_text()
    rss, pss = (int(rollup.split(f"\n{name}:")[1].split()[0]) * 1024 / 1e6 for name in ("Rss", "Pss"))
    return rss, pss
