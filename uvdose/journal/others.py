"""Journals of other benches, or copies of them, opened for looking: nothing in them is changed, whatever their age.

Two that began as one (a home that was copied, a backup beside its journal) share a past, in which everything would be
counted twice. So it is found out up to where they are the same.
"""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple
from zlib import error as ZlibError

import msgspec

from ..model import Refusal
from .copying import copy_to
from .schema import Older, home_id, open_reading, open_writing
from .store import Store

# Rows of which a copy has the first ones: what makes a row the same, and the column of its wall time.
_TABLES = {
    "event": ("id, wall_us, event, exposure, sensor, data", "wall_us"),
    "note": ("id, wall_us, kind, subject, data", "wall_us"),
    "exposure": ("id, begin_us, begin_wall_us, plan", "begin_wall_us"),
    "chunk": ("id, t0_us, wall0_us", "wall0_us"),
}


@contextmanager
def looked_at(path: Path) -> Iterator[Store]:
    """A journal's file for reading. One of an older uvdose is copied and the copy brought up to date; the file stays as
    it is. Raises `Refusal`, which names the file, also for damage that is met later."""
    if not path.is_file():
        raise Refusal(f"{path} is no journal: name a home, or a journal's file such as `uvdose journal backup` makes")
    try:
        with tempfile.TemporaryDirectory(prefix="uvdose-") as folder, closing(_opened(path, Path(folder))) as db:
            yield Store(db)
    except (sqlite3.Error, msgspec.MsgspecError, ZlibError, ValueError) as err:
        raise Refusal(f"journal {path} cannot be read ({err}): `uvdose journal check {path}` says more; leave it out,"
                      " or take a backup of it") from None  # fmt: skip


def _opened(path: Path, folder: Path) -> sqlite3.Connection:
    try:
        return open_reading(path)
    except Older:
        copy = folder / "journal.sqlite3"
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None)) as db:
            copy_to(db, copy, replace=False)
        open_writing(copy).close()
        return open_reading(copy)


class Kin(NamedTuple):
    """Two journals that began as one. until_us: wall time of the last that is the same in both. whole: 0 or 1 where
    that one holds nothing that the other has not, None where each went on by itself."""

    until_us: int
    whole: int | None


def kin(one: Store, other: Store) -> Kin | None:
    """How two journals belong together; None where they are of different homes."""
    if home_id(one.db) != home_id(other.db):
        return None
    until_us = 0
    inside = [True, True]
    for table, (columns, wall) in _TABLES.items():
        common = _common(one.db, other.db, table, columns)
        for i, store in enumerate((one, other)):
            last = store.db.execute(f"SELECT max(id) FROM {table}").fetchone()[0]
            # The newest readings of a copy may be a chunk that was still growing: it lies in the other in full.
            inside[i] &= last is None or last <= common
        row = one.db.execute(f"SELECT {wall} FROM {table} WHERE id <= ? ORDER BY id DESC LIMIT 1", (common,)).fetchone()
        until_us = max(until_us, 0 if row is None else int(row[0]))
    # Of two that hold the same rows the one with more light in them is kept.
    fuller = [int(s.db.execute("SELECT coalesce(sum(n), 0) FROM chunk").fetchone()[0]) for s in (one, other)]
    if all(inside):
        return Kin(until_us, 0 if fuller[0] < fuller[1] else 1)
    return Kin(until_us, inside.index(True) if any(inside) else None)


def _common(one: sqlite3.Connection, other: sqlite3.Connection, table: str, columns: str) -> int:
    """The highest id up to which a table holds the same rows in both; rows are only ever added at its end."""
    sql = f"SELECT {columns} FROM {table} WHERE id <= ? ORDER BY id DESC LIMIT 1"
    ends = [db.execute(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()[0] for db in (one, other)]
    low, high = 0, int(max(ends))
    while low < high:
        middle = (low + high + 1) // 2
        if one.execute(sql, (middle,)).fetchone() == other.execute(sql, (middle,)).fetchone():
            low = middle
        else:
            high = middle - 1
    return low
