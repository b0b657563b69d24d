"""The journal's tables, and how an older journal becomes one of today. SQLite, WAL, full sync."""

from __future__ import annotations

import os
import secrets
import sqlite3
from pathlib import Path

from .. import __version__
from ..clock import host_wall_us
from ..model import Refusal
from ..stamps import iso_utc
from .copying import beside, copy_to, is_damage
from .moment import whole_or_not

# To change the tables, add the next number with its statements; never change one that was published.

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
        # plan: what never changes. shown: its figures at its last change.
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
        # Calls that are made or passed over, by key; not every one of them leaves an event.
        "ALTER TABLE exposure ADD COLUMN passed TEXT NOT NULL DEFAULT '[]'",
        # Stretches in which the sensor did not see the print's light.
        "CREATE TABLE shade (exposure INTEGER NOT NULL, t0_us INTEGER NOT NULL, t1_us INTEGER NOT NULL,"
        " PRIMARY KEY (exposure, t0_us)) WITHOUT ROWID",
    ],
    3: [
        # What the person says that is no act: calibrations, verdicts, editions. Only ever appended; the newest of a
        # kind and subject holds, the others are its history.
        "CREATE TABLE note (id INTEGER PRIMARY KEY, wall_us INTEGER NOT NULL, kind TEXT NOT NULL,"
        " subject TEXT NOT NULL, data TEXT NOT NULL)",
        "CREATE INDEX note_subject ON note (kind, subject)",
        # An end after which no reading came in time: the missing light that was put there instead of measured light.
        "ALTER TABLE act ADD COLUMN closed TEXT",
    ],
    4: [
        # Light by wall minutes (since 1970, UTC) for each row of settings; see dose/minute.py. It stays when raw
        # readings are pruned.
        "CREATE TABLE minute (sensor INTEGER NOT NULL, minute INTEGER NOT NULL, n INTEGER NOT NULL,"
        " total REAL NOT NULL, strongest REAL, first_us INTEGER, last_us INTEGER, full_n INTEGER NOT NULL,"
        " measured REAL NOT NULL, bridged REAL NOT NULL, measured_us INTEGER NOT NULL, bridged_us INTEGER NOT NULL,"
        " full_us INTEGER NOT NULL, PRIMARY KEY (sensor, minute)) WITHOUT ROWID",
        # Every chunk of a sensor up to this id is in its minutes, none beyond it.
        "CREATE TABLE summed (name TEXT PRIMARY KEY, chunk INTEGER NOT NULL) WITHOUT ROWID",
    ],
}

VERSION = max(_MIGRATIONS)

_HOME = "SELECT value FROM meta WHERE key = 'home'"
# One row for each migration, committed with it: which, when, and by which uvdose.
_MIGRATION_TABLE = (
    "CREATE TABLE IF NOT EXISTS migration (version INTEGER PRIMARY KEY, utc TEXT NOT NULL, program TEXT NOT NULL)"
)


class Older(Refusal):
    """The journal is of an older uvdose: it can be read once it is brought up to date, by opening it for writing."""


def open_writing(path: Path) -> sqlite3.Connection:
    """Open the journal for its one writer, made or brought up to date as needed. Raises `Refusal`."""
    _refuse_no_file(path)
    db = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        have = version_of(db, path)
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        if 0 < have < VERSION:
            _bring_up_to_date(db, path, have)
        else:
            migrate(db, have)
        _prove(db, path)
    except (sqlite3.Error, OSError, UnicodeDecodeError) as err:
        if db is not None:
            db.close()
        if is_damage(err):
            raise Refusal(f"journal {path} is damaged ({err}): `uvdose serve` sets it aside, keeps what it can read") \
                from None
        raise Refusal(f"journal {path}: {err}; check that the folder can be written and the disk has room") from None
    except Refusal:
        if db is not None:
            db.close()
        raise
    return db


def open_reading(path: Path) -> sqlite3.Connection:
    """Open the journal for reading only, also while a daemon writes it. Raises `Refusal`, `Older`."""
    _refuse_no_file(path)
    if not path.exists():
        raise Refusal(f"no journal at {path} yet: `uvdose serve` and `uvdose target set` begin one")
    db = None
    try:
        db = sqlite3.connect(f"{path.as_uri()}?{_how_to_read(path)}", uri=True, isolation_level=None,
                             check_same_thread=False)  # fmt: skip
        have = version_of(db, path)
        if have < VERSION:
            raise Older(
                f"journal {path} was written by an older uvdose (schema {have}, this one reads {VERSION}):"
                " make the home one that can be written, and `uvdose serve` brings it up to date"
            )
        _prove(db, path)
    except (sqlite3.Error, UnicodeDecodeError) as err:
        if db is not None:
            db.close()
        cannot_open = getattr(err, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_CANTOPEN
        if cannot_open and not os.access(path.parent, os.W_OK):
            raise Refusal(f"journal {path}: its newest rows are still in {path.name}-wal, and are read only in a folder"
                          " that can be written: copy both into one, and name it with --home") from None  # fmt: skip
        damaged = " is damaged; `uvdose serve` sets it aside and keeps what it can read" if is_damage(err) else ""
        raise Refusal(f"journal {path}{damaged}: {err}") from None
    except Refusal:
        if db is not None:
            db.close()
        raise
    return db


def home_id(db: sqlite3.Connection) -> str:
    """The id that tells this home from every other."""
    return str(db.execute(_HOME).fetchone()[0])


def version_of(db: sqlite3.Connection, path: Path) -> int:
    """The schema of a journal, 0 for an empty file. Raises `Refusal` for a newer one and for a file that is none."""
    have = int(db.execute("PRAGMA user_version").fetchone()[0])
    if have > VERSION:
        raise Refusal(f"journal {path} was written by a newer uvdose (schema {have}, this one knows {VERSION}): update")
    if have == 0 and db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        raise Refusal(f"journal {path} is a database of another program: move it away")
    return have


def migrate(db: sqlite3.Connection, have: int, upto: int | None = None) -> None:
    """Bring tables from one schema to a later one (None: today's). Each step is one transaction, its record in it."""
    for step in range(have + 1, (VERSION if upto is None else upto) + 1):
        with whole_or_not(db):
            db.execute(_MIGRATION_TABLE)
            for statement in _MIGRATIONS[step]:
                db.execute(statement)
            if step == 1:
                db.execute("INSERT INTO meta VALUES ('home', ?)", (secrets.token_hex(8),))
            db.execute("INSERT INTO migration VALUES (?, ?, ?)", (step, iso_utc(host_wall_us()), __version__))
            db.execute(f"PRAGMA user_version = {step}")


def _bring_up_to_date(db: sqlite3.Connection, path: Path, have: int) -> None:
    """Migrate a journal in use. One that holds exposures is copied beside itself first."""
    kept: Path | None = None
    for half in path.parent.glob(f".{path.stem}.schema-*.part*"):  # of a copy that was cut off, as big as the journal
        half.unlink(missing_ok=True)
    if db.execute("SELECT count(*) FROM exposure").fetchone()[0]:
        kept = beside(path, f"schema-{have}")
        copy_to(db, kept, replace=False)
    try:
        migrate(db, have)
    except sqlite3.Error:
        if kept is not None and version_of(db, path) == have:
            kept.unlink(missing_ok=True)  # nothing was changed; a copy at each attempt would fill the disk
        raise


def _prove(db: sqlite3.Connection, path: Path) -> None:
    try:
        found = db.execute(_HOME).fetchone()
    except sqlite3.OperationalError:
        found = None
    if found is None:
        raise Refusal(f"journal {path} is a database of another program, or has lost its home's id: move it away")


def _refuse_no_file(path: Path) -> None:
    if path.exists() and not path.is_file():
        what = "a folder" if path.is_dir() else "no ordinary file"
        raise Refusal(f"journal {path} is {what}: move it away, or choose another home with --home")


def _how_to_read(path: Path) -> str:
    """WAL mode wants a file beside the journal even for reading; a folder that cannot be written has none to offer."""
    wal = path.with_name(path.name + "-wal")
    settled = not wal.exists() or wal.stat().st_size == 0
    return "mode=ro&immutable=1" if settled and not os.access(path.parent, os.W_OK) else "mode=ro"
