"""The journal's tables, and how an older journal becomes one of today. SQLite, WAL, full sync."""

from __future__ import annotations

import secrets
import sqlite3
from pathlib import Path

from ..model import Refusal

VERSION = 2

_MIGRATIONS: dict[int, list[str]] = {
    1: [
        "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
        # How dose time is tied to each boot of the host; see clock.Epoch.
        "CREATE TABLE epoch (id INTEGER PRIMARY KEY, epoch TEXT NOT NULL)",
        # One row per identity that a sensor has had, so that any dose can be counted with the settings of then.
        "CREATE TABLE sensor (id INTEGER PRIMARY KEY, name TEXT NOT NULL, identity TEXT NOT NULL)",
        # Up to 120 readings of one sensor; wall0_us labels the first of them.
        "CREATE TABLE chunk (id INTEGER PRIMARY KEY, sensor INTEGER NOT NULL, kind INTEGER NOT NULL,"
        " t0_us INTEGER NOT NULL, t1_us INTEGER NOT NULL, wall0_us INTEGER NOT NULL, n INTEGER NOT NULL,"
        " data BLOB NOT NULL)",
        "CREATE INDEX chunk_time ON chunk (sensor, t0_us)",
        "CREATE TABLE target (name TEXT NOT NULL, version INTEGER NOT NULL, target TEXT NOT NULL,"
        " PRIMARY KEY (name, version)) WITHOUT ROWID",
        # plan: what never changes. final: the figures once its last light is added up.
        "CREATE TABLE exposure (id INTEGER PRIMARY KEY, sensor INTEGER NOT NULL, begin_us INTEGER NOT NULL,"
        " begin_wall_us INTEGER NOT NULL, plan TEXT NOT NULL, state TEXT NOT NULL, settled INTEGER NOT NULL,"
        " shown TEXT NOT NULL)",
        "CREATE INDEX exposure_wall ON exposure (begin_wall_us)",
        "CREATE TABLE act (exposure INTEGER NOT NULL, number INTEGER NOT NULL, act TEXT NOT NULL,"
        " t_us INTEGER NOT NULL, wall_us INTEGER NOT NULL, mark TEXT NOT NULL, refined TEXT,"
        " PRIMARY KEY (exposure, number)) WITHOUT ROWID",
        "CREATE TABLE event (id INTEGER PRIMARY KEY, t_us INTEGER NOT NULL, wall_us INTEGER NOT NULL,"
        " event TEXT NOT NULL, exposure INTEGER, sensor TEXT, data TEXT NOT NULL)",
        "CREATE INDEX event_wall ON event (wall_us)",
        "CREATE INDEX event_exposure ON event (exposure)",
        # A call is open until it is proven (when it need not be insisted on) or acknowledged.
        "CREATE TABLE call (exposure INTEGER NOT NULL, key TEXT NOT NULL, kind TEXT NOT NULL, sensor TEXT NOT NULL,"
        " t_us INTEGER NOT NULL, insist INTEGER NOT NULL, text TEXT NOT NULL, proven_us INTEGER, ended_us INTEGER,"
        " PRIMARY KEY (exposure, key)) WITHOUT ROWID",
    ],
    2: [
        # What the person mends is added beside what was: an act taken back, an act moved to when it really happened.
        "ALTER TABLE act ADD COLUMN by_light INTEGER NOT NULL DEFAULT 0",
        "ALTER TABLE act ADD COLUMN moved TEXT",
        "ALTER TABLE act ADD COLUMN withdrawn INTEGER NOT NULL DEFAULT 0",
        # Stretches in which the sensor did not see the print's light.
        "CREATE TABLE shade (exposure INTEGER NOT NULL, t0_us INTEGER NOT NULL, t1_us INTEGER NOT NULL,"
        " PRIMARY KEY (exposure, t0_us)) WITHOUT ROWID",
    ],
}


def open_writing(path: Path) -> sqlite3.Connection:
    """Open the journal for its one writer, made or brought up to date as needed. Raises `Refusal`."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        _migrate(db, path)
    except (sqlite3.Error, OSError) as err:
        raise Refusal(f"journal {path}: {err}; check that the folder can be written and the file is uvdose's") from None
    return db


def open_reading(path: Path) -> sqlite3.Connection:
    """Open the journal for reading only, also while a daemon writes it. Raises `Refusal`."""
    if not path.exists():
        raise Refusal(f"no journal at {path} yet: `uvdose serve` and `uvdose target set` begin one")
    try:
        db = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None, check_same_thread=False)
        _refuse_newer(db, path)
    except sqlite3.Error as err:
        raise Refusal(f"journal {path}: {err}") from None
    return db


def home_id(db: sqlite3.Connection) -> str:
    """The id that tells this home from every other."""
    return str(db.execute("SELECT value FROM meta WHERE key = 'home'").fetchone()[0])


def _refuse_newer(db: sqlite3.Connection, path: Path) -> int:
    have = int(db.execute("PRAGMA user_version").fetchone()[0])
    if have > VERSION:
        raise Refusal(f"journal {path} was written by a newer uvdose (schema {have}, this one knows {VERSION}): update")
    return have


def _migrate(db: sqlite3.Connection, path: Path) -> None:
    for step in range(_refuse_newer(db, path) + 1, VERSION + 1):
        db.execute("BEGIN IMMEDIATE")
        for statement in _MIGRATIONS[step]:
            db.execute(statement)
        if step == 1:
            db.execute("INSERT INTO meta VALUES ('home', ?)", (secrets.token_hex(8),))
        db.execute(f"PRAGMA user_version = {step}")
        db.execute("COMMIT")
