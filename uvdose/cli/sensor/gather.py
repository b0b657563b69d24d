"""Readings of a sensor for its own sake, raw, out of the journal's file beside the daemon that writes it.

The daemon holds the sensor's port, waits for its device and knows its alarms, and it flushes each second; so the
commands read what it wrote, and none opens a port by itself: a second way to a sensor would be a second truth.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import msgspec

from ...model import Refusal
from ..calibration.run import FRESH

if TYPE_CHECKING:
    from ...config import Home, SensorSettings, Settings
    from ...messages import SensorDoc
    from ...model import Reading
    from ..asking import Daemon

SETTLE_S = 1.3  # real time after which what was read before is in the journal: it is flushed each second
LOOK_S = 0.25
SILENT_S, GIVE_UP_S = 8.0, 120.0  # the daemon knows the sensor's pace, and from when on it is silent
UNHEARD = ("silent", "absent")
HOUR_US = 3_600_000_000

Row = tuple[int, "Reading"]


class Bench(msgspec.Struct, frozen=True):
    """A home whose daemon answers, with its settings as they lie in the file."""

    place: Home
    daemon: Daemon
    settings: Settings

    def sensor(self, name: str | None) -> SensorSettings:
        """The sensor named, else the only one. Raises `Refusal` (code 2)."""
        from ...settings_edit import sensor_in

        return sensor_in(self.settings, name)

    def now(self, name: str) -> SensorDoc:
        """A sensor as the daemon sees it. Raises `Refusal` where the daemon was started without it."""
        for told in self.daemon.status().sensors:
            if told.name == name:
                return told
        raise Refusal(f"the daemon does not know sensor {name} yet: restart `uvdose serve`, which reads the settings")

    def refuse_lit(self, name: str, doing: str) -> None:
        """Raises `Refusal` where a print is counted by a sensor that is about to be covered."""
        from ...exposure.states import ENDED, State

        for shown in self.daemon.status().exposures:
            if shown.sensor == name and shown.state not in (*ENDED, State.HELD, State.WAITING):
                raise Refusal(f"exposure {shown.id} is counted by {name}: {doing} would take its light away; hold or"
                              " finish it first")  # fmt: skip

    def newest_us(self, name: str) -> int:
        """The dose time of a sensor's newest reading in the journal; 0 where there is none."""
        from ..asking import journal

        with journal(self.place) as store:
            last_us, _ = store.last_times()
            return max((t for t, _ in store.readings(name, last_us - HOUR_US)), default=0)

    def readings(self, name: str, after_us: int) -> list[Row]:
        """A sensor's readings after a moment."""
        from ..asking import journal

        with journal(self.place) as store:
            return list(store.readings(name, after_us + 1))


def need_bench(place: Home) -> Bench:
    """Raises `Refusal` (code 3) where no daemon answers."""
    from ...config import load_settings
    from ..asking import need_daemon

    return Bench(place, need_daemon(place), load_settings(place))


def gather(
    bench: Bench, names: Sequence[str], seconds: float, told: Callable[[dict[str, list[Row]]], None] | None = None
) -> dict[str, list[Row]]:
    """Readings from now on, over so many seconds of the sensors' own time (a rehearsal's pace quickens it, too).

    told: sees what there is until now. Raises `Refusal` where one of them falls silent.
    """
    from ...clock import pause, real_s
    from ...units import US_PER_S

    pause(SETTLE_S)  # what came before somebody pressed Enter is in the journal then
    begin_us = {name: bench.newest_us(name) for name in names}
    rows: dict[str, list[Row]] = {name: [] for name in names}
    heard_s = dict.fromkeys(names, real_s())
    while True:
        pause(LOOK_S)
        for name in names:
            found = bench.readings(name, begin_us[name])
            if len(found) > len(rows[name]) + 1:
                heard_s[name] = real_s()
            rows[name] = found[1:]  # the first may tell of light from before
            quiet_s = real_s() - heard_s[name]
            if quiet_s > GIVE_UP_S or (quiet_s > SILENT_S and bench.now(name).state in UNHEARD):
                raise silent(bench, name)
        if told is not None:
            told(rows)
        if all(r and r[-1][0] - r[0][0] >= seconds * US_PER_S for r in rows.values()):
            return rows


def silent(bench: Bench, name: str) -> Refusal:
    """What to say of a sensor that no readings come from."""
    found = bench.now(name)
    why = found.alarms[0] if found.alarms else "no reading has come lately"
    return Refusal(f"sensor {name} is {found.state if found.state != 'live' else 'silent'}: {why}")


class Line:
    """One line that is drawn over and over at a terminal; nothing where there is none."""

    def __init__(self) -> None:
        self._live = sys.stdout.isatty()

    def show(self, text: str) -> None:
        """The line anew."""
        if self._live:
            print(f"{FRESH}{text}", end="", flush=True)

    def clear(self) -> None:
        """Away with it."""
        if self._live:
            with contextlib.suppress(OSError):
                print(FRESH, end="", flush=True)


def gather_shown(bench: Bench, sensors: Sequence[SensorSettings], seconds: float) -> dict[str, list[Row]]:
    """`gather`, with a line at the terminal on how far the first of them is, and what it says now."""
    from ...dose.integrator import reading_value
    from ...review.layout import unit_text
    from ...units import US_PER_S

    line, first = Line(), sensors[0]

    def tell(rows: dict[str, list[Row]]) -> None:
        if found := rows[first.name]:
            gone = (found[-1][0] - found[0][0]) / US_PER_S
            value = reading_value(found[-1][1])
            line.show(f"  {min(gone, seconds):.0f} of {seconds:g} s, {value:.4g} {unit_text(first.unit)}")

    try:
        return gather(bench, [s.name for s in sensors], seconds, tell)
    finally:
        line.clear()
