"""`uvdose demo`: the whole job on a simulated bench, over a real pty, with the real daemon and commands."""

from __future__ import annotations

import queue
import shutil
import signal
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .given import given_home
from .options import HomeDir

if TYPE_CHECKING:
    from ..journal.store import Store
    from ..messages import ExposureDoc
    from .asking import Daemon
    from .demo_bench import DemoBench

PACE = 40
TARGET, DOSE = "endpapers", 2700  # nine minutes of the demo's clear light
COUNT_IN_S = 3
LOOK_S = 2.0
LONGEST_S = 45.0
LIVE_S, PLAIN_S = 0.2, 0.7
MOST_PAST = 1.15

INTRO = f"""\
The bindery, its endpapers and its light are invented; the light is simulated.

A small bindery prints patterned endpapers on hand-coated paper, in the sun,
under passing cloud. A UV sensor lies on the sill beside the frame. A test strip
has shown that {DOSE} mJ/cm² prints this coating right. The daemon, the commands
and the serial line are the real ones; only the sensor at its far end is
simulated, and its minutes run {PACE} times fast."""


def demo(
    keep: Annotated[bool, typer.Option("--keep", help="Leave the demo's home where it is, and say where.")] = False,
    home: HomeDir = None,
) -> None:
    """The whole job on a simulated bench, in about half a minute. Needs no device."""
    from .demo_bench import DemoBench

    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, _interrupt)  # so that nothing it started is left behind
    folder = given_home(home)
    print(INTRO)
    with DemoBench(folder, keep, PACE) as bench:
        if keep or folder is not None:
            print(f"\nIts home is {bench.home.folder}", flush=True)
        _print_one(bench)


def _interrupt(*_: object) -> None:
    raise KeyboardInterrupt


def _print_one(bench: DemoBench) -> None:
    from .demo_bench import DemoFailed

    daemon = bench.serve()
    bench.follow()
    bench.run(
        "target", "set", TARGET, "--dose", str(DOSE), "--process", "iron blue", "--paper", "rag 120 g",
        "--look", "0.7", "--lead", "60", "--reason", "test strip, third step",
    )  # fmt: skip
    _wait_for_light(daemon)
    bench.run("expose", TARGET, "--label", "endpaper 1", "--count-in", str(COUNT_IN_S))
    _expose(bench, daemon)
    _wait_settled(bench)
    bench.run("day")
    bench.run("recount", "1")
    print()
    for line in _verify(bench):
        print(line)
    code = bench.stop()
    if code:
        raise DemoFailed(f"the daemon ended with {code}")
    print("\nNext: `uvdose --help`, and the README for a first real print.", flush=True)


def _wait_for_light(daemon: Daemon) -> None:
    from ..clock import pause, real_s
    from .demo_bench import DemoFailed

    deadline_s = real_s() + 5
    while daemon.status().sensors[0].state != "live":
        if real_s() > deadline_s:
            raise DemoFailed("the simulated sensor sent no reading")
        pause(0.05)


class _Bar:
    """The dose: one line that is drawn over in a terminal, else a line now and then."""

    def __init__(self) -> None:
        self._live = sys.stdout.isatty()
        self._drawn = False
        self._due_s = 0.0

    def show(self, daemon: Daemon, now_s: float) -> None:
        """Draw it if it is time."""
        from ..review.layout import shorten, with_unit
        from .screen import exposure_line

        if now_s < self._due_s:
            return
        self._due_s = now_s + (LIVE_S if self._live else PLAIN_S)
        told = daemon.status()
        s, d = told.sensors[0], told.exposures[0]
        line = f"{with_unit(s.irradiance, s.unit):>12}  {exposure_line(d)}"
        if self._live:
            line = shorten(line, shutil.get_terminal_size().columns - 1)  # one that wraps cannot be drawn over
        print(f"\r{line}\x1b[K" if self._live else line, end="" if self._live else "\n", flush=True)
        self._drawn = self._live

    def leave(self) -> None:
        """Let other lines follow."""
        if self._drawn:
            print(flush=True)
            self._drawn = False


def _expose(bench: DemoBench, daemon: Daemon) -> None:
    """What the person does from the start to the call, and after it."""
    from ..clock import pause, real_s
    from .demo_bench import DemoFailed

    bar, deadline_s, told = _Bar(), real_s() + LONGEST_S, set[str]()
    while "reached" not in told:
        if real_s() > deadline_s:
            raise DemoFailed(f"no target call within {LONGEST_S:g} s; came: {', '.join(sorted(told)) or 'nothing'}")
        bar.show(daemon, real_s())
        event = _next_event(bench, 0.05)
        if event is None or event["exposure"] is None:
            continue
        told.add(str(event["event"]))
        if event["event"] in ("look", "lead", "reached"):
            bar.leave()
            _say_calls(bench)
        if event["event"] == "look":
            print("The print is lifted out of the light to look under its back.")
            bench.run("hold", "1")
            pause(LOOK_S)
            print("Still too pale: back into the light.")
            bench.run("resume", "1")
            print()
    bench.run("quiet", "1")
    bench.run("finish", "1")


def _next_event(bench: DemoBench, seconds: float) -> dict[str, Any] | None:
    try:
        return bench.events.get(timeout=seconds)
    except queue.Empty:
        return None


def _say_calls(bench: DemoBench) -> None:
    """What the daemon says at a call, when the node's buzzer sounds too."""
    from ..clock import pause

    for _ in range(10):
        try:
            print(f"  the daemon calls: {bench.lines.get_nowait()}", flush=True)
            return
        except queue.Empty:
            pause(0.02)


def _wait_settled(bench: DemoBench) -> None:
    from ..clock import pause, real_s
    from .asking import journal
    from .demo_bench import DemoFailed

    deadline_s = real_s() + 5
    with journal(bench.home) as store:
        while not store.exposure(1).settled:
            if real_s() > deadline_s:
                raise DemoFailed("the last light was not added up")
            pause(0.05)


def _verify(bench: DemoBench) -> list[str]:
    """Whether it all really happened; then what a clock would have done. Raises `DemoFailed`."""
    from .asking import journal
    from .demo_bench import DemoFailed

    with journal(bench.home) as store:
        shown = store.exposure(1).document
        happened = {e.event for e in store.events() if e.exposure == 1}
        wanted = {"started", "look", "held", "resumed", "lead", "reached", "quieted", "finished"}
        if not wanted <= happened:
            raise DemoFailed(f"the journal lacks {', '.join(sorted(wanted - happened))}")
        if not (shown.state == "finished" and 1 <= shown.fraction < MOST_PAST and not shown.missing_s):
            raise DemoFailed(f"the exposure is {shown.state} at {shown.fraction:.1%} of its target")
        return _clock_words(store, shown)


def _clock_words(store: Store, shown: ExposureDoc) -> list[str]:
    from ..journal.daily import newest_day
    from ..review.gather import gather
    from ..review.layout import with_unit
    from ..units import irradiance_unit, minutes, percent, stops_between
    from .demo_bench import DemoFailed

    found = gather(store, newest_day(store))
    clock = found.prints[0].clock
    stops = stops_between(clock.dose, shown.target_dose) if clock else None
    if clock is None or stops is None:
        raise DemoFailed("the light was not cloudy enough to compare it with a clock")
    unit = irradiance_unit(shown.unit)
    return [
        "By the clock instead:",
        f"  in steady clear light ({with_unit(clock.clear, unit)}) this target takes {minutes(clock.clock_s)}.",
        f"  under these clouds {minutes(clock.clock_s)} in the light gave about {with_unit(clock.dose, shown.unit)}:"
        f" {percent(clock.dose / shown.target_dose)} of the target, {-stops:.2f} stops too little.",
        f"  by the dose it took {minutes(clock.needed_s)}, and the print got {percent(shown.fraction)}.",
    ]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(demo)
