"""The product's own parts joined as the daemon joins them, without its API: what the rows let light run through."""

from __future__ import annotations

import asyncio
import random
from pathlib import Path

from uvdose.clock import HostClock, next_epoch
from uvdose.config import SensorSettings
from uvdose.core import Core
from uvdose.decode.native import NativeDecoder, frame_command
from uvdose.dose.response import identity_of, response_of
from uvdose.exposure.bench import Bench
from uvdose.exposure.record import Plan
from uvdose.exposure.target import CallPlan, Target
from uvdose.intake.link import Link
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.journal.summing import Summer
from uvdose.journal.writer import Writer
from uvdose.model import MomentReading, RegisterReading

NAME = "sill"
BOOT = 0x1A2B3C4D
NATIVE = SensorSettings(NAME, "serial", port="-", scale=0.01, full_scale=100_000.0)
NUMBERS = SensorSettings(NAME, "serial", port="-", format="number", unit="W/m2", full_scale=100_000.0)
FAR = Target("far", 1, 9e8, calls=CallPlan())


def register_readings(count: int, step_ms: int) -> list[RegisterReading]:
    """A node's readings of restless light, as a board of 100 samples a second would say them."""
    rng = random.Random(1)
    level, register, out = 400_000, 0, []
    for seq in range(count):
        level = min(900_000, max(50_000, level + rng.randrange(-3000, 3001)))
        register += level * step_ms // 1000
        out.append(RegisterReading(BOOT, seq, (seq + 1) * step_ms, level, register, 0, 0, 0))
    return out


def moment_readings(count: int) -> list[MomentReading]:
    """Momentary values of restless light in W/m², three decimals as a cheap board prints them."""
    rng = random.Random(2)
    value, out = 40.0, []
    for _ in range(count):
        value = min(90.0, max(5.0, value + rng.uniform(-0.3, 0.3)))
        out.append(MomentReading(round(value, 3)))
    return out


def native_line(r: RegisterReading) -> bytes:
    """The line of a reading, with all three decimals of its level, as a board prints it."""
    return frame_command(
        f"uv1,{r.boot:08x},{r.seq},{r.uptime_ms},{r.level_milli // 1000}.{r.level_milli % 1000:03d},{r.register},"
        f"{r.sat_ms},{r.presses},{r.flags:02x}"
    )


def lit_bench(sensor: SensorSettings, now_us: int = 0, frames: int = 1) -> Bench:
    """A bench of one sensor with exposures open on it, whose targets are far away."""
    bench = Bench()
    bench.add_sensor(sensor.name, identity_of(sensor), response_of(sensor))
    for number in range(1, frames + 1):
        bench.start(Plan(number, FAR, sensor.name, str(number), response_of(sensor), now_us), now_us)
    return bench


class Journal:
    """A journal in a folder, with its recorder and its writer's thread."""

    def __init__(self, folder: Path, sensor: SensorSettings, label_us: int = 1_700_000_000_000_000) -> None:
        self.file = folder / "journal.sqlite3"
        self.db = open_writing(self.file)
        self.troubles: list[str] = []
        self.recorder = Recorder(self.db, lambda t_us: label_us + t_us)
        self.writer = Writer(self.db, self.troubles.append, summer=Summer(self.db))
        self.writer.commit(self.recorder.sensor(identity_of(sensor))).result()

    def close(self) -> None:
        """End the writer and close the file, its log taken in."""
        self.writer.close()
        self.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.db.close()


class CountingCore(Core):
    """A core that tells when it has taken in a number of readings."""

    wanted = 0
    reached: asyncio.Event

    def drain(self) -> None:
        super().drain()
        if self.bench.channels[NAME].readings >= self.wanted:
            self.reached.set()


def lit_core(folder: Path, sensor: SensorSettings, wanted: int) -> tuple[CountingCore, Journal]:
    """A core inside a running loop, with one open exposure and a journal on disk. Give it its link with `plug`."""
    clock = HostClock(next_epoch(None, 0, 0, 1.0))
    bench = Bench()
    bench.add_sensor(sensor.name, identity_of(sensor), response_of(sensor))
    journal = Journal(folder, sensor, clock.wall_us())
    core = CountingCore(
        bench, clock, journal.recorder, journal.writer, {}, lambda _: NativeDecoder(runs=True), lambda _: None,
        lambda _: None,
    )
    core.wanted = wanted
    core.reached = asyncio.Event()
    now_us = clock.dose_us()
    plan = Plan(journal.recorder.next_exposure(), FAR, sensor.name, "1", response_of(sensor), now_us)
    core.settle(bench.start(plan, now_us))
    core.tick()
    return core, journal


def plug(core: Core, name: str, link: Link) -> None:
    """Give a core the link of its sensor; without it a command to the node goes nowhere, which is fine too."""
    core._links[name] = link
