"""Faults of a serial line and of the node behind it."""

from __future__ import annotations

import itertools
import os
import signal
import time

from faults.case import Case
from faults.harness import Run

END_32 = 1 << 32


def unplug(run: Run) -> None:
    run.begun()
    run.first.unplug()
    run.nap(0.4, 3.0)
    run.first.plug()


def unplug_other_name(run: Run) -> None:
    run.begun()
    before = run.first.device
    run.first.unplug()
    taken: list[tuple[int, int]] = []
    while len(taken) < 64 and not any(os.ttyname(slave) == before for _, slave in taken):
        taken.append(os.openpty())  # until the old name is gone
    run.nap(0.4, 3.0)
    run.first.plug()
    if run.first.device == before:
        run.wrong("the port came back under its old name")
    run.stack.callback(lambda: [os.close(fd) for pair in taken for fd in pair])


def wire(mode: str, least_s: float = 3.0):  # type: ignore[no-untyped-def]
    def fault(run: Run) -> None:
        run.begun()
        run.first.wire.mode = mode
        run.nap(least_s, least_s + 2.0)
        run.first.wire.calm()

    return fault


def rubbish(run: Run) -> None:
    run.begun()
    rubbish_bytes = bytes(b for b in range(256) if b != 10)
    for _ in range(25):
        run.first.raw(bytes(run.rng.choice(rubbish_bytes) for _ in range(4000)))
        time.sleep(0.02)


def nul_bytes(run: Run) -> None:
    run.begun()
    run.first.wire.mode = "nul"
    for _ in range(20):
        run.first.raw(b"\0" * run.rng.randrange(1, 3000))
        run.nap(0.05, 0.15)
    run.first.wire.calm()


def reboot(off_dose_s: float, *, kept: bool):  # type: ignore[no-untyped-def]
    def fault(run: Run) -> None:
        run.begun()
        run.first.off()
        time.sleep(off_dose_s / run.pace)
        run.first.on(kept=kept)
        run.nap(0.5)

    return fault


def two_reboots(run: Run) -> None:
    for _ in range(2):
        reboot(run.rng.uniform(65, 90), kept=False)(run)


def two_resets(run: Run) -> None:
    """The second shows in nothing but arrival: the node's lines say of themselves what they said before."""
    reboot(run.rng.uniform(15, 30), kept=True)(run)
    run.nap(0.5, 1.0)
    reboot(run.rng.uniform(15, 30), kept=True)(run)


def bridged(run: Run) -> None:
    """The time off is bridged: the exact sum besides it, and the bridge straight between its ends."""
    name, node = next(iter(run.sources.items()))
    store = run.bench.store()
    shown, acts = run.shown(name), store.acts(run.ids[name])
    rows = list(store.readings(name, acts[0].t_us, acts[-1].cut.t_us))
    off_s = bridge = 0.0
    for (t0, a), (t1, b) in itertools.pairwise(rows):
        lost_s = (t1 - t0) / 1e6 - (b.uptime_ms - (a.uptime_ms if a.boot == b.boot else 0)) / 1000
        if a.boot != b.boot or (b.flags & 8 and (not a.flags & 8 or lost_s > 10)):
            off_s += lost_s
            bridge += lost_s * (a.level_milli + b.level_milli) / 2000 * 0.01
    exact = node.counted(acts) / 1000 * 0.01
    run.result.dose = abs((shown["dose"] - bridge) / exact - 1)
    if run.result.dose > 1e-9:
        run.wrong(f"besides the bridge the dose is off by {run.result.dose:.2e}")
    if abs(shown["bridged_s"] - off_s) > 1e-3 or shown["missing_s"]:
        run.wrong(f"off for {off_s:.3f} s, told {shown['bridged_s']} s bridged, {shown['missing_s']} s missing")
    gaps = [e for e in run.bench.events(run.ids[name]) if e["event"] == "gap"]
    if [g["kind"] for g in gaps] != ["bridged"] * (2 if run.case.fault is two_resets else 1):
        run.wrong(f"the time off is not told as bridged: {gaps}")


def missing(run: Run) -> None:
    """The time off is missing, and not in the dose."""
    name = next(iter(run.sources))
    shown = run.shown(name)
    if shown["missing_s"] < 60 or shown["bridged_s"] or shown["missing_dose"] <= 0:
        run.wrong(f"told {shown['bridged_s']} s bridged, {shown['missing_s']} s missing")
    if not any(e["event"] == "gap" and e["kind"] == "missing" for e in run.bench.events(run.ids[name])):
        run.wrong("the time off is not told as missing")


def unread(run: Run) -> None:
    """The daemon stands still for so long that the port runs over."""
    run.begun()
    process = run.bench.process
    assert process is not None
    run.bench.may_be_deaf.set()
    process.send_signal(signal.SIGSTOP)
    run.nap(4.0, 5.0)
    process.send_signal(signal.SIGCONT)
    run.nap(0.5)
    run.bench.may_be_deaf.clear()


def nothing_bridged(run: Run) -> None:
    shown = run.shown(next(iter(run.sources)))
    if shown["bridged_s"] or shown["missing_s"]:
        run.wrong(f"the node ran, yet {shown['bridged_s']} s bridged, {shown['missing_s']} s missing")


def _wire(name: str, mode: str, **more):  # type: ignore[no-untyped-def]
    return Case(f"serial: {name}", ("pty",), wire(mode), check=nothing_bridged, **more)


CASES = [
    Case("serial: unplugged, same name", ("pty",), unplug, "link", nothing_bridged),
    Case("serial: unplugged, other name", ("pty",), unplug_other_name, "link", nothing_bridged),
    _wire("half lines", "half"),
    _wire("bits turned over", "flip"),
    _wire("30 % of lines lost", "lose"),
    _wire("lines doubled", "double"),
    _wire("lines reordered", "reorder"),
    _wire("bursts of 60 s", "burst", alarm="backlog", options={}),
    _wire("all of these", "storm"),
    Case("serial: 100 kB of rubbish", ("pty",), rubbish, check=nothing_bridged),
    Case("serial: NUL bytes", ("pty",), nul_bytes, check=nothing_bridged),
    Case("serial: port runs over", ("pty",), unread, check=nothing_bridged, options={"rate_hz": 10.0}),
    Case("node: off and on, bridged", ("pty",), reboot(25, kept=False), "restarted", bridged, dose=None),
    Case("node: off and on, missing", ("pty",), reboot(80, kept=False), "silent", missing),
    Case("node: twice off and on", ("pty",), two_reboots, "restarted", missing, lasts_s=14.0),
    Case("node: reset keeps memory", ("pty",), reboot(15, kept=True), None, bridged, dose=None),
    Case("node: reset twice, keeps memory", ("pty",), two_resets, None, bridged, dose=None, lasts_s=12.0),
    Case("node: uptime and seq wrap", ("pty",), wire("lose"), check=nothing_bridged,
         options={"first_seq": END_32 - 100, "first_uptime_ms": END_32 - 100_000}),
]
