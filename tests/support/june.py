"""A bench that measured the June of 2016 at Payerne up to some moment, one reading a minute. Its targets: invented."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from uvdose.config import SensorSettings
from uvdose.dose.response import Identity, identity_of
from uvdose.exposure.target import Target
from uvdose.journal.pack import pack
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.listed import QueueEntry
from uvdose.model import MomentReading
from uvdose.notes import Queue

from .payerne import MINUTES, uva_w_m2

JUNE_US = int(datetime(2016, 6, 1, tzinfo=UTC).timestamp()) * 1_000_000
MINUTE_US = 60_000_000
SETTINGS = """\
[bench]
name = "bindery"
latitude = 46.815
longitude = 6.944
height_m = 491
[[sensor]]
name = "sill"
link = "recording"
file = "-"
format = "number"
unit = "W/m2"
[web]
listen = "127.0.0.1:0"
"""
SILL = SensorSettings("sill", "recording", file="-", format="number", unit="W/m2")
COUNTS = SensorSettings("counter", "recording", file="-", format="number", unit="counts")
LAMP = identity_of(SensorSettings("sill", "recording", file="-", format="number", unit="W/m2", light="lamp"))
TARGETS = (
    Target("blue", 1, 2565.0), Target("brown", 1, 700.0), Target("never", 1, 900_000.0),
    Target("under lamp", 1, 500.0, identity=LAMP), Target("old", 2, 500.0, retired=True, reason="paper is gone"),
    Target("counted", 1, 40_000.0, "counts.s", identity=identity_of(COUNTS)),
)  # fmt: skip
WAITING = (QueueEntry("Ines", "blue"), QueueEntry("Otto", "brown"), QueueEntry("Mia", "under lamp"), QueueEntry("Kai"))


def at_us(day: float) -> int:
    """Wall time of a day of that June and a share of it, 1.0 being the 1st at 00:00 UTC."""
    return JUNE_US + round((day - 1) * MINUTES) * MINUTE_US


def measured(path: Path, until: float, sensor: SensorSettings = SILL, per_w_m2: float = 1.0) -> sqlite3.Connection:
    """A journal with that June's readings up to a day, in the sensor's unit, with TARGETS and WAITING."""
    db = open_writing(path)
    recorder = Recorder(db, lambda t_us: JUNE_US + t_us)
    identity: Identity = identity_of(sensor)
    statements = recorder.sensor(identity)
    for target in TARGETS:
        statements += recorder.target(target)
    statements += recorder.note("queue", "bench", Queue(WAITING), JUNE_US, 0).statements
    rows = [
        (minute * MINUTE_US + MINUTE_US // 2, MomentReading((value or 0.0) * per_w_m2))
        for minute, value in enumerate(uva_w_m2()[: round((until - 1) * MINUTES)])
    ]
    for number, first in enumerate(range(0, len(rows), 60), 1):
        part = rows[first : first + 60]
        values = (number, 1, 2, part[0][0], part[-1][0], JUNE_US + part[0][0], len(part), pack(part))
        statements.append(("INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values))
    db.execute("BEGIN")
    for sql, bound in statements:
        db.execute(sql, bound)
    db.execute("COMMIT")
    return db
