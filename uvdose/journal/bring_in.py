"""Readings from a file put into the journal: all of them or none, in one transaction, as a sensor of their own.

They are summed by minutes in it, too, since no daemon need ever run here.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection, Iterable

import msgspec

from ..dose.response import Identity
from ..model import Reading, Refusal
from .imported import IMPORTED, Imported, imported
from .moment import whole_or_not
from .recorder import Recorder
from .summing import sum_whole

CHUNKS_AT_A_TIME = 64
Row = tuple[int, int, Identity, Reading]
"""Dose time, wall label, settings, reading."""


def refuse_known(db: sqlite3.Connection, sha256: str, columns: str, how: str) -> None:
    """Raises `Refusal` where the very file is there already, and the same of it, read in the same way."""
    for one in imported(db):
        if (one.sha256, one.columns, one.how) == (sha256, columns, how):
            raise Refusal(f"this file is there already, as sensor {one.sensor} since {one.utc}: nothing was done")


def refuse_live(db: sqlite3.Connection, sensor: str, live: Collection[str]) -> None:
    """Raises `Refusal` where a name is that of a sensor of the bench, now or ever. live: those of the settings."""
    names = {one.sensor for one in imported(db)}
    lived = sensor in live or db.execute("SELECT 1 FROM sensor WHERE name = ? LIMIT 1", (sensor,)).fetchone()
    if sensor not in names and lived:
        raise Refusal(
            f"sensor {sensor} is one of this bench, and readings from a file are never mixed with its own: give another"
            " name with --sensor"
        )


def bring_in(db: sqlite3.Connection, rows: Iterable[Row], told: Callable[[int], Imported]) -> Imported:
    """Write rows, in order, and what is to be told of them; `told` is asked for it at the end, with their number.

    The times it holds are filled in here. Memory is bounded, a kill leaves nothing. Raises `Refusal`
    for what the rows raise, for readings that do not lie after those that are there, and where the disk fails.
    """
    shift_us = 0
    recorder = Recorder(db, lambda t_us: t_us + shift_us)
    count = 0
    first: Row | None = None
    last: Row | None = None
    try:
        with whole_or_not(db):
            for row in rows:
                t_us, wall_us, identity, reading = row
                if last is None:
                    _refuse_before(db, row)
                if last is None or identity is not last[2] or wall_us - t_us != shift_us:
                    for sql, values in recorder.sensor(identity):  # ends the chunk: it has one label and one identity
                        db.execute(sql, values)
                    shift_us = wall_us - t_us
                recorder.keep_readings([(identity.name, t_us, reading)])
                if recorder.full_chunks >= CHUNKS_AT_A_TIME:
                    _flush(db, recorder)
                first, last, count = first or row, row, count + 1
            _flush(db, recorder)
            assert first is not None and last is not None
            sum_whole(db, last[2].name)
            done = told(count)
            refuse_known(db, done.sha256, done.columns, done.how)
            done = msgspec.structs.replace(done, t0_us=first[0], t1_us=last[0], wall0_us=first[1], wall1_us=last[1])
            text = msgspec.json.encode([*imported(db), done]).decode()
            db.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (IMPORTED, text))
    except sqlite3.Error as err:
        raise Refusal(f"the journal cannot be written: {err}; nothing was brought in") from None
    return done


def _flush(db: sqlite3.Connection, recorder: Recorder) -> None:
    for sql, values in recorder.flush():
        db.execute(sql, values)


def _refuse_before(db: sqlite3.Connection, row: Row) -> None:
    """Readings of one sensor lie in the journal in the order of their times."""
    name = row[2].name
    last_us = db.execute(
        "SELECT max(c.t1_us) FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ?", (name,)
    ).fetchone()[0]
    if last_us is not None and row[0] <= last_us:
        raise Refusal(
            f"sensor {name} has later readings already: bring the oldest file in first, or give another name with"
            " --sensor"
        )
