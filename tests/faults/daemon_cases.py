"""Faults of the daemon's own process, of its host's clocks, and of those who read from it."""

from __future__ import annotations

import json
import signal
import socket
import time
from datetime import UTC, datetime
from pathlib import Path

from faults.case import Case
from faults.harness import Run
from faults.serial_cases import nothing_bridged
from support import bench as support_bench

SHIFTED = Path(support_bench.__file__).with_name("shifted.py")
HOUR_US = 3_600_000_000
THREE = ("pty", "mqtt", "json")


def killed(run: Run) -> None:
    held = False
    for _ in range(4):
        run.begun()
        if run.rng.random() < 0.6:
            run.act("resume" if held else "hold")
            held = not held
        run.bench.kill()
        run.nap(0.0, 1.5)
        run.bench.start()
        run.nap(0.1, 1.0)
    if held:
        run.bench.wait_live(*run.sources)
        run.act("resume")


def terminated(run: Run) -> None:
    for _ in range(2):
        run.begun()
        if (code := run.bench.stop()) != 0:
            run.wrong(f"SIGTERM ended it with {code}")
        run.nap(0.2, 2.0)
        run.bench.start()
        run.nap(0.2, 1.0)


def asleep(run: Run) -> None:
    """Stopped and continued, for more than 60 s of dose time, as a laptop that sleeps."""
    process = run.bench.process
    assert process is not None
    run.bench.may_be_deaf.set()
    run.begun()
    process.send_signal(signal.SIGSTOP)
    run.nap(3.3, 4.5)
    process.send_signal(signal.SIGCONT)
    run.nap(0.7)
    run.bench.may_be_deaf.clear()


def readers_stuck(run: Run) -> None:
    """Twenty ask for all events, and never read; the count goes on, memory stays bounded."""
    bench = run.bench
    run.begun()
    host, port = bench.url.removeprefix("http://").split(":")
    for _ in range(20):
        s = socket.socket()
        s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        s.connect((host, int(port)))
        head = f"GET /api/v1/events HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {bench.token}\r\n\r\n"
        s.sendall(head.encode())
        run.stack.callback(s.close)
    for _ in range(400):  # each makes an event or two
        time.sleep(0.05)  # the share of a core goes by the acts a second, and no loop of persons is quicker
        for number in run.ids.values():
            bench.act(number, "hold")
            run.taken[number].append("hold")
            bench.act(number, "resume")
            run.taken[number].append("resume")
    bench.measure()
    if bench.rss_mb > 80:
        run.wrong(f"grew to {bench.rss_mb:.0f} MB")


def saturated_lines_lost(run: Run) -> None:
    """Saturated while its lines are lost: the running count of saturated time tells all the same."""
    node = run.first
    now_s = (time.monotonic() - node.started_s) * run.pace
    begin_s = now_s + 4
    node.light.spell(begin_s, begin_s + 30, lambda s: node.light.true(s) + 500.0)
    time.sleep((begin_s - 2 - now_s) / run.pace)
    node.unplug()
    run.begun()
    time.sleep(36 / run.pace)
    node.plug()


def saturation_told(run: Run) -> None:
    name = next(iter(run.sources))
    shown = run.shown(name)
    if not 25 < shown["saturated_s"] < 35:
        run.wrong(f"30 s were saturated, told {shown['saturated_s']}")
    if shown["dose_high"] <= shown["dose"] * 1.05:
        run.wrong("the upper end does not tell that the dose is a lower bound")


# -- clocks -------------------------------------------------------------------------------------------------


def _shift(run: Run, **values: object) -> None:
    place = run.folder / "shift.json"
    fresh = place.with_suffix(".new")
    fresh.write_text(json.dumps(values))
    fresh.replace(place)


def _shifted_from(**values: object):  # type: ignore[no-untyped-def]
    def setup(run: Run) -> None:
        _shift(run, **values)
        run.bench.env["UVDOSE_SHIFT"] = str(run.folder / "shift.json")

    return setup


def wall_jumps(run: Run) -> None:
    run.begun()
    for hours in (5, -7, 30, 0):
        _shift(run, wall_us=hours * HOUR_US)
        run.nap(0.8, 1.2)
        utc = datetime.fromisoformat(run.bench.ask("GET", "/status")["utc"].replace("Z", "+00:00"))
        off_s = utc.timestamp() - time.time() - hours * 3600
        if abs(off_s) > 0.5:
            run.wrong(f"labels do not follow the clock: {off_s:.1f} s off after a jump by {hours} h")


def wall_set_right(run: Run) -> None:
    """Wrong at boot, by years; then a time server sets it."""
    run.begun()
    _shift(run)
    run.nap(1.0)
    run.bench.kill()
    run.bench.start()


def dst_night(run: Run) -> None:
    """The local clock goes from 3:00 back to 2:00 while the print lies in the light."""
    run.begun()
    run.nap(3.0, 4.0)
    run.bench.kill()
    run.bench.start()


def _to(moment: datetime) -> int:
    return int((moment.timestamp() - time.time()) * 1e6)


DST = datetime(2026, 10, 25, 0, 59, 57, tzinfo=UTC)


def dst_setup(run: Run) -> None:
    _shifted_from(wall_us=_to(DST), tz="Europe/Zurich")(run)


def host_reboots(run: Run) -> None:
    """Another boot, 45 s later by the wall clock: a new count of time since boot, and the hole is told."""
    run.begun()
    run.bench.kill()
    shift_us = 21_000_000 - time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1000
    run.boot_shift_s["another"] = shift_us / 1e6
    _shift(run, boot_id="another", boot_us=shift_us, wall_us=45_000_000)
    run.bench.start()
    run.nap(0.5)


def hole_told(run: Run) -> None:
    """How long a host was away is never sure: it is told as missing, whatever its wall clock says."""
    name = list(run.sources)[1]
    shown = run.shown(name)
    if not 60 < shown["missing_s"] < 70 or shown["bridged_s"]:
        run.wrong(f"a reboot is told as {shown['missing_s']} s missing, {shown['bridged_s']} s bridged")
    epochs = run.bench.store().db.execute("SELECT count(*) FROM epoch").fetchone()[0]
    if epochs != 2:
        run.wrong(f"{epochs} epochs, not 2")
    nothing_bridged(run)


def labels_right(run: Run) -> None:
    """What happened after the clock was set carries the time it was set to."""
    store = run.bench.store()
    last = store.db.execute("SELECT max(wall_us) FROM event WHERE event = 'finished'").fetchone()[0]
    if abs(last / 1e6 - time.time()) > 30:
        run.wrong("labels after the clock was set are still wrong")


CLOCKS = {"pace": 1.0, "driver": SHIFTED, "lasts_s": 8.0}

CASES = [
    Case("daemon: SIGKILL four times", THREE, killed, momentary=0.2, lasts_s=10.0),
    Case("daemon: SIGTERM twice", THREE, terminated, momentary=0.2, lasts_s=10.0),
    Case("daemon: stopped over 60 s", THREE, asleep, momentary=0.2, lasts_s=10.0),
    Case("daemon: 20 readers stuck", ("pty",), readers_stuck, check=nothing_bridged),
    Case("node: saturated, lines lost", ("pty",), saturated_lines_lost, "link", saturation_told, said=True,
         options={"full_scale": 2000}),
    Case("clock: jumps by hours", ("pty", "board"), wall_jumps, check=nothing_bridged, setup=_shifted_from(), **CLOCKS),
    Case("clock: years wrong at boot", ("pty", "board"), wall_set_right, check=labels_right,
         setup=_shifted_from(wall_us=-50 * 365 * 24 * HOUR_US), **CLOCKS),
    Case("clock: DST night", ("pty", "board"), dst_night, check=nothing_bridged, setup=dst_setup, **CLOCKS),
    Case("host: reboots", ("pty", "board"), host_reboots, check=hole_told, setup=_shifted_from(), momentary=99.0,
         interval=False, **CLOCKS),
]

