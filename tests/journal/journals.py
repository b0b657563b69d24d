"""Journals with something in them, made without a bench."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from uvdose.config import SensorSettings
from uvdose.dose.response import identity_of
from uvdose.exposure.target import Target
from uvdose.journal.pack import pack
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.model import RegisterReading

SENSOR = identity_of(SensorSettings("sill", "serial", port="-", scale=0.0125, full_scale=1023.0))
WALL_US = 1_782_036_000_000_000


def fill(path: Path, chunks: int = 60, targets: int = 40, events: int = 200) -> sqlite3.Connection:
    """Targets, events and readings; 120 readings a chunk, one a second."""
    db = open_writing(path)
    recorder = Recorder(db, lambda t: WALL_US + t)
    statements = recorder.sensor(SENSOR)
    for i in range(targets):
        reason = "a reason long enough to fill some pages " * 4
        statements += recorder.target(Target(f"t{i}", 1, 100.0 + i, reason=reason))
    statements += [
        ("INSERT INTO event VALUES (?, ?, ?, 'alarm', NULL, 'sill', ?)",
         (i + 1, i * 1000, WALL_US + i * 1000, '{"line":"' + "silent " * 20 + '"}'))
        for i in range(events)
    ]  # fmt: skip
    register = 0
    for chunk in range(chunks):
        rows = []
        for i in range(120):
            n = chunk * 120 + i
            register += 300_000 + n * 7919 % 100_000
            reading = RegisterReading(7, n, n * 1000, n * 7919 % 100_000, register, 0, 0, 0)
            rows.append((n * 1_000_000 + n * 37 % 900, reading))
        values = (chunk + 1, 1, 1, rows[0][0], rows[-1][0], WALL_US + rows[0][0], 120, pack(list(rows)))
        statements.append(("INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values))
    db.execute("BEGIN")
    for sql, bound in statements:
        db.execute(sql, bound)
    db.execute("COMMIT")
    return db


def content(path: Path) -> dict[str, set[tuple[object, ...]]]:
    """Every row of a sound journal, by table."""
    db = sqlite3.connect(path)
    names = [str(r[0]) for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = {name: set(db.execute(f"SELECT * FROM {name}")) for name in names}
    db.close()
    return found
