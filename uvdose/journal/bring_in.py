"""Readings from a file put into the journal, and taken out again: all of them or none, in one transaction, as a
sensor of their own.

They are summed by minutes in it, too, since no daemon need ever run here.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection, Iterable, Sequence

import msgspec

from ..dose.response import Identity
from ..model import Reading, Refusal
from .imported import IMPORTED, Imported, imported
from .moment import whole_or_not
from .prune import PRUNED, Pruned, pruned
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
            _list(db, IMPORTED, [*imported(db), done])
    except sqlite3.Error as err:
        raise Refusal(f"the journal cannot be written: {err}; nothing was brought in") from None
    return done


def take_out(db: sqlite3.Connection, sensor: str) -> int:
    """Take out all that was ever brought in under a name, as if it never had been; how many readings that were.

    Prints keep what they are: none is counted from such readings. Raises `Refusal` where nothing of that name was
    brought in, where a print was counted by it all the same, and where the disk fails; then all is as it was.
    """
    every = imported(db)
    stay = [one for one in every if one.sensor != sensor]
    if len(stay) == len(every):
        known = ", ".join(dict.fromkeys(one.sensor for one in every))
        raise Refusal(f"nothing was brought in as {sensor!r}; from files came: {known or 'none'}")
    rows = "(SELECT id FROM sensor WHERE name = ?)"
    print_ = db.execute(f"SELECT min(id) FROM exposure WHERE sensor IN {rows}", (sensor,)).fetchone()[0]
    if print_ is not None:
        raise Refusal(f"exposure {print_} is counted by the readings of {sensor}: they stay")
    try:
        with whole_or_not(db):
            count = int(
                db.execute(f"SELECT coalesce(sum(n), 0) FROM chunk WHERE sensor IN {rows}", (sensor,)).fetchone()[0]
            )
            for table in ("chunk", "minute"):
                db.execute(f"DELETE FROM {table} WHERE sensor IN {rows}", (sensor,))
            db.execute("DELETE FROM summed WHERE name = ?", (sensor,))
            db.execute("DELETE FROM sensor WHERE name = ?", (sensor,))
            _list(db, IMPORTED, stay)
            _list(db, PRUNED, [one for one in pruned(db) if one.sensor != sensor])
    except sqlite3.Error as err:
        raise Refusal(f"the journal cannot be written: {err}; nothing was taken out") from None
    return count


def _list(db: sqlite3.Connection, key: str, every: Sequence[Imported | Pruned]) -> None:
    db.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (key, msgspec.json.encode(every).decode()))


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
