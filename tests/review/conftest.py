"""A journal made by the real bench and recorder on a clock that is set by hand: the same on every run."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from uvdose.clock import FixedClock
from uvdose.config import SensorSettings
from uvdose.dose.response import identity_of, response_of
from uvdose.exposure.bench import Bench
from uvdose.exposure.document import document
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import CallPlan, Combination, Target
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.journal.store import Store
from uvdose.messages import Part
from uvdose.model import MomentReading, RegisterReading
from uvdose.notes import Doc
from uvdose.stamps import iso_utc

NOON_US = 1_782_036_000_000_000  # 2026-06-21 10:00:00 UTC
BLUE = Target("blue", 2, 400.0, combination=Combination(process="iron blue", paper="rag, 120 g"),
              calls=CallPlan(looks=(0.5,), lead_s=20.0, overshoots=(0.25,)))  # fmt: skip
SENSORS = [
    SensorSettings("sill", "simulated", scale=0.0125, full_scale=1023.0),
    SensorSettings("roof", "serial", port="-", format="number", unit="V"),
]


class Bindery:
    """The daemon's flow without its loop: every outcome is committed at once."""

    def __init__(self, path: Path, sensors: list[SensorSettings] | None = None) -> None:
        self.clock = FixedClock(5_000_000_000, NOON_US)
        self.path = path
        self.db = open_writing(path)
        self.db.execute("PRAGMA synchronous=OFF")  # no test here pulls the plug
        self.store = Store(self.db)
        self.bench = Bench()
        for sensor in sensors or SENSORS:
            self.bench.add_sensor(sensor.name, identity_of(sensor), response_of(sensor))
        self.recorder = Recorder(self.db, lambda t: self.clock.wall_us() - (self.clock.dose_us() - t))
        for channel in self.bench.channels.values():
            self._commit(self.recorder.sensor(channel.identity))
        self._commit(self.recorder.target(BLUE))
        self.counts = 0
        self.register = 0
        self.uptime_ms = 0
        self.boot = 7
        self.sat_ms = 0

    def _commit(self, statements: list[tuple[str, tuple[object, ...]]]) -> None:
        for sql, values in statements:
            self.db.execute(sql, values)

    def settle(self, out: Outcome) -> None:
        self.recorder.keep_readings(out.readings)
        for fact in out.facts:
            name = {"voided": "finished"}.get(fact.name, fact.name)
            if fact.exposure is not None and name in ("started", "reached", "finished"):
                wall_us = self.clock.wall_us() - (self.clock.dose_us() - fact.t_us)
                self.bench.exposures[fact.exposure].labels.setdefault(name, iso_utc(wall_us))
        shown = {
            e.id: document(e, self.bench.channels[e.plan.sensor].track, self.clock.dose_us(), []) for e in out.changed
        }
        self._commit(self.recorder.flush() + self.recorder.outcome(out, shown)[0])

    def light(
        self, seconds: int, counts: int, volts: float | None = None, silent: bool = False, full: bool = False
    ) -> None:
        """Seconds of steady light: one native line a second on the sill, one plain number on the roof."""
        for _ in range(seconds):
            self.clock.advance(1)
            self.uptime_ms += 1000
            self.register += counts * 1000
            self.sat_ms += 1000 if full else 0
            now_us = self.clock.dose_us()
            if not silent:
                line = RegisterReading(
                    self.boot, self.uptime_ms // 1000, self.uptime_ms, counts * 1000, self.register, self.sat_ms, 0, 0
                )
                self.settle(self.bench.take("sill", [line], now_us))
                if volts is not None:
                    self.settle(self.bench.take("roof", [MomentReading(volts)], now_us))
            self.settle(self.bench.tick(now_us))

    def start(
        self, target: Target, sensor: str, frame: str, label: str = "", count_in_s: float = 0.0,
        part: Part | None = None,
    ) -> int:  # fmt: skip
        now_us = self.clock.dose_us()
        response = self.bench.channels[sensor].track.response
        plan = Plan(
            self.recorder.next_exposure(), target, sensor, frame, response, now_us + int(count_in_s * 1e6), label=label,
            part=part,
        )
        self.settle(self.bench.start(plan, now_us))
        return plan.id

    def seldom(self, readings: int, volts: float, every_s: int = 60) -> None:
        """Plain numbers on the roof, one in so many seconds."""
        for _ in range(readings):
            self.clock.advance(every_s)
            now_us = self.clock.dose_us()
            self.settle(self.bench.take("roof", [MomentReading(volts)], now_us))
            self.settle(self.bench.tick(now_us))

    def restart_node(self) -> None:
        """The sill's node loses its power: it counts anew from nothing."""
        self.boot += 1
        self.register = self.uptime_ms = self.sat_ms = 0

    def keep(self, target: Target) -> None:
        """A version of a target."""
        self._commit(self.recorder.target(target))

    def say(self, kind: str, subject: str, note: Doc) -> None:
        """A note, as of now."""
        self._commit(self.recorder.note(kind, subject, note, self.clock.wall_us()).statements)

    def act(self, number: int, act: Act) -> None:
        self.settle(self.bench.act(number, act, self.clock.dose_us()))


@pytest.fixture
def in_utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Local days and times in UTC."""
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture
def bindery(tmp_path: Path, in_utc: None) -> Bindery:
    """An empty bench at 2026-06-21 10:00 UTC."""
    return Bindery(tmp_path / "journal.sqlite3")


@pytest.fixture
def printed(bindery: Bindery) -> Bindery:
    """Two prints: one over a cloud with a hold, on the sill; one on the roof with a bridged hole, still in the light.

    The sill's dose is exact: 20 s at 5, 40 s at 2.5, 30 s held, 58 s at 5 mW/cm² = 490 mJ/cm².
    """
    print_two(bindery)
    return bindery


def print_two(bindery: Bindery) -> None:
    """What `printed` tells."""
    bindery.light(30, 400, 1.0)
    first = bindery.start(BLUE, "sill", "north", "fern")
    bindery.light(20, 400, 1.0)
    bindery.light(40, 200, 0.5)
    bindery.act(first, Act.HOLD)
    bindery.light(30, 400, 1.0)
    bindery.act(first, Act.RESUME)
    bindery.light(58, 400, 1.0)
    bindery.act(first, Act.FINISH)
    bindery.light(10, 400, 1.0)
    bindery.start(msgspec.structs.replace(BLUE, name="brown", version=1, dose=60.0, unit="V.s"), "roof", "south")
    bindery.light(10, 400, 1.0)
    bindery.light(20, 400, silent=True)
    bindery.light(10, 400, 1.0)
