"""Journals with something in them, made without a bench."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from msgspec.json import encode

from uvdose.config import SensorSettings
from uvdose.dose.response import identity_of, identity_response
from uvdose.exposure.record import Plan
from uvdose.exposure.target import Target
from uvdose.journal.pack import pack
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.messages import ExposureDoc, Part
from uvdose.model import RegisterReading
from uvdose.stamps import iso_utc

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
    write(db, statements)
    return db


def content(path: Path) -> dict[str, set[tuple[object, ...]]]:
    """Every row of a sound journal, by table."""
    db = sqlite3.connect(path)
    names = [str(r[0]) for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = {name: set(db.execute(f"SELECT * FROM {name}")) for name in names}
    db.close()
    return found


def print_rows(
    recorder: Recorder, number: int, target: Target, dose: float, wall_us: int = WALL_US, state: str = "finished",
    label: str = "", frame: str = "1", part: Part | None = None,
) -> list[tuple[str, tuple[object, ...]]]:  # fmt: skip
    """Statements for a print that has no readings: invented figures, under one sensor (row 1)."""
    utc = iso_utc(wall_us)
    plan = Plan(number, target, "sill", frame, identity_response(SENSOR), wall_us - WALL_US, label=label, part=part)
    shown = ExposureDoc(
        number, target.name, target.version, "sill", frame, state, target.unit, target.dose, dose, 0.99 * dose,
        1.01 * dose, dose / target.dose, 400.0, 0.0, 0.0, 0.0, 0.0, utc, utc, utc, None, [], [], True, label=label,
        part=part, noted=target.combination.noted,
    )  # fmt: skip
    values = (number, 1, wall_us - WALL_US, wall_us, encode(plan).decode(), state, 1, encode(shown).decode())
    columns = "id, sensor, begin_us, begin_wall_us, plan, state, settled, shown"
    return [(f"INSERT INTO exposure ({columns}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)]


def write(db: sqlite3.Connection, statements: list[tuple[str, tuple[object, ...]]]) -> None:
    """All of them in one commit."""
    db.execute("BEGIN")
    for sql, bound in statements:
        db.execute(sql, bound)
    db.execute("COMMIT")
