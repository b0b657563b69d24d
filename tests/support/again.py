"""A bench beside its journal, without a daemon: at any moment it can be begun anew from what was written down."""

from __future__ import annotations

from pathlib import Path

import msgspec

from uvdose.config import SensorSettings
from uvdose.dose.account import Figures
from uvdose.dose.response import identity_of, response_of
from uvdose.exposure.bench import Bench
from uvdose.exposure.document import document
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import ActRecord, LightGate, Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.journal.recorder import Recorder
from uvdose.journal.replay import count_anew, resume
from uvdose.journal.schema import open_writing
from uvdose.journal.store import Store
from uvdose.model import MomentReading, Reading, RegisterReading

BEGIN_US = 5_000_000_000


class Journalled:
    """One sensor, whose readings come when they are taken, and exposures on it. native: lines with a register."""

    def __init__(self, path: Path, native: bool, full_scale: float | None = 1023.0, zero: float = 0.0) -> None:
        self.native = native
        self.sensor = SensorSettings(
            "sill", "serial", port="-", format="native" if native else "number", unit="counts", scale=0.01,
            full_scale=full_scale, zero=zero,
        )
        self.now_us = BEGIN_US
        self.db = open_writing(path)
        self.db.execute("PRAGMA synchronous=OFF")  # no test here pulls the plug
        self.store = Store(self.db)
        self.recorder = Recorder(self.db, lambda t_us: t_us)
        self.bench = self._empty()
        self._write(self.recorder.sensor(identity_of(self.sensor)))
        self.register = self.uptime_ms = 0

    def _empty(self) -> Bench:
        bench = Bench()
        bench.add_sensor("sill", identity_of(self.sensor), response_of(self.sensor))
        return bench

    def _write(self, statements: list[tuple[str, tuple[object, ...]]]) -> None:
        for sql, values in statements:
            self.db.execute(sql, values)

    def again(self) -> Bench:
        """A bench begun from the journal as it stands; this one goes on untouched."""
        self._write(self.recorder.flush())
        bench = self._empty()
        resume(self.store, bench, self.now_us)
        return bench

    def change(self, *others: Bench, **figures: float | None) -> None:
        """The sensor's settings are others from now on, as the daemon takes them while it runs."""
        self.sensor = msgspec.structs.replace(self.sensor, **figures)
        for bench in (self.bench, *others):
            bench.channels["sill"].respond(identity_of(self.sensor), response_of(self.sensor))
        self._write([*self.recorder.sensor(identity_of(self.sensor)), *self.recorder.flush()])

    def settle(self, out: Outcome) -> None:
        """Keep an outcome as the daemon does: its readings in the same commit."""
        self.recorder.keep_readings(out.readings)
        if out.pressing:
            channel = self.bench.channels["sill"]
            shown = {e.id: document(e, channel.track, self.now_us, []) for e in out.changed}
            self._write([*self.recorder.flush(), *self.recorder.outcome(out, shown)[0]])

    def reading(self, value: float, seconds: float = 1.0) -> Reading:
        """The next reading, so many seconds after the last; a native node has counted this value in between."""
        self.wait(seconds)
        uptime_ms = (self.now_us - BEGIN_US) // 1000
        self.register += round(value) * (uptime_ms - self.uptime_ms)
        self.uptime_ms = uptime_ms
        if not self.native:
            return MomentReading(value)
        seq = self.uptime_ms // 10
        return RegisterReading(7, seq, self.uptime_ms, round(value) * 1000, self.register, 0, 0, 0)

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.now_us += round(seconds * 1e6)

    def take(self, reading: Reading, *others: Bench) -> None:
        """A reading to this bench and to others."""
        self.settle(self.bench.take("sill", [reading], self.now_us))
        for other in others:
            other.take("sill", [reading], self.now_us)

    def start(self, gate: LightGate | None = None, begin_us: int | None = None) -> int:
        """An exposure with a target out of reach; its number."""
        at_us = self.now_us if begin_us is None else begin_us
        response = self.bench.channels["sill"].track.response
        target = Target("far", 1, 1e9)
        plan = Plan(self.recorder.next_exposure(), target, "sill", str(at_us), response, at_us, gate=gate)
        self.settle(self.bench.start(plan, self.now_us))
        return plan.id

    def act(self, number: int, act: Act, *others: Bench) -> None:
        """The person's act now, on this bench and on others."""
        self.settle(self.bench.act(number, act, self.now_us))
        for other in others:
            other.act(number, act, self.now_us)

    def recounted(self, number: int) -> Exposure:
        """An exposure counted anew from the journal alone."""
        self._write(self.recorder.flush())
        return count_anew(self.store, self.store.exposure(number)).exposure


def acts(bench: Bench, number: int) -> list[ActRecord]:
    """Acts of an exposure, with their marks."""
    return bench.exposures[number].acts


def sums(bench: Bench) -> dict[int, Figures]:
    """What each exposure holds."""
    return {number: exposure.account.figures() for number, exposure in bench.exposures.items()}
