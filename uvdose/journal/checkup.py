"""The whole journal looked at: integrity, sizes, counts, what a reading takes, whether the minutes' sums are those of
the readings. No bound in time.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import msgspec

from ..model import Refusal
from ..stamps import iso_utc
from .blocks import Blocks, readable
from .imported import Imported, imported
from .moment import one_moment
from .proof import Proof
from .prune import Pruned, pruned

MAX_PROBLEMS = 20
_NOT_TOLD = ("chunk", "meta", "migration", "minute", "summed")  # or told otherwise


class CheckDoc(msgspec.Struct, frozen=True):
    """What `uvdose journal check` found. Bytes are of the files; bytes_per_reading of the packed readings' pages.

    minutes: sums that are kept; minutes_proved: how many of them were made again from raw readings and are the same.
    """

    file: str
    ok: bool
    problems: list[str]
    schema: int
    migrations: list[dict[str, object]]
    bytes: int
    log_bytes: int
    free_bytes: int
    readings: int
    chunks: int
    reading_bytes: int
    bytes_per_reading: float | None
    from_utc: str | None
    to_utc: str | None
    counts: dict[str, int]
    pruned: list[Pruned]
    imported: list[Imported]
    minutes: int = 0
    minutes_proved: int = 0


def check(db: sqlite3.Connection, path: Path, every_minute: bool = False) -> CheckDoc:
    """Check a journal that is open for reading. Raises sqlite3.Error where not even its tables can be read.

    every_minute: prove all sums of minutes, and not those of some days. What it sees is of one moment.
    """
    with one_moment(db):
        return _check(db, path, every_minute)


def _check(db: sqlite3.Connection, path: Path, every_minute: bool) -> CheckDoc:
    problems: list[str] = []
    try:
        found = [str(r[0]).replace("\n", " ") for r in db.execute(f"PRAGMA integrity_check({MAX_PROBLEMS})")]
    except sqlite3.DatabaseError as err:
        found = [str(err)]
    if found != ["ok"]:
        problems += found
    tables = [str(r[0]) for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    counts: dict[str, int] = {}
    for table in tables:
        try:
            counts[table] = int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
        except sqlite3.DatabaseError as err:
            problems.append(f"{table}: {err}")
    proof = Proof(db, pruned(db), every_minute)
    readings, packed, wall0_us, wall1_us = _readings(db, problems, proof)
    problems += proof.problems()
    page, pages, free = (
        int(db.execute(f"PRAGMA {what}").fetchone()[0]) for what in ("page_size", "page_count", "freelist_count")
    )
    reading_bytes = _page_bytes(db, packed)
    try:
        brought = imported(db) if "meta" in tables else []
    except Refusal as err:
        brought = []
        problems.append(err.line)
    log = path.with_name(path.name + "-wal")
    return CheckDoc(
        file=str(path), ok=not problems, problems=problems[:MAX_PROBLEMS],
        schema=int(db.execute("PRAGMA user_version").fetchone()[0]),
        migrations=_migrations(db) if "migration" in tables else [],
        bytes=page * pages, log_bytes=log.stat().st_size if log.exists() else 0, free_bytes=page * free,
        readings=readings, chunks=counts.get("chunk", 0), reading_bytes=reading_bytes,
        bytes_per_reading=reading_bytes / readings if readings else None,
        from_utc=iso_utc(wall0_us) if wall0_us is not None else None,
        to_utc=iso_utc(wall1_us) if wall1_us is not None else None,
        counts={t: n for t, n in counts.items() if t not in _NOT_TOLD}, pruned=pruned(db),
        imported=brought,
        minutes=counts.get("minute", 0), minutes_proved=proof.proved,
    )


def _readings(db: sqlite3.Connection, problems: list[str], proof: Proof) -> tuple[int, int, int | None, int | None]:
    """Unpack every chunk: how many readings, their packed bytes, the first and last wall label."""
    count = packed = 0
    wall0_us: int | None = None
    wall1_us: int | None = None
    try:
        for block in Blocks(db).after(0):
            n, data = db.execute("SELECT n, data FROM chunk WHERE id = ?", (block.id,)).fetchone()
            count, packed = count + n, packed + len(data)
            wall0_us = block.wall0_us if wall0_us is None else min(wall0_us, block.wall0_us)
            wall1_us = max(wall1_us or 0, block.wall1_us)
            rows = readable(block.kind, data)
            proof.add(block, rows)
            if rows is None:
                problems.append(f"readings {block.id}: they cannot be unpacked")
            elif (len(rows), rows[0][0], rows[-1][0]) != (n, block.t0_us, block.t1_us):
                problems.append(f"readings {block.id}: what is in them is not what their row says")
    except sqlite3.DatabaseError as err:
        problems.append(f"chunk: {err}")
    return count, packed, wall0_us, wall1_us


def _page_bytes(db: sqlite3.Connection, packed: int) -> int:
    """What the readings take on disk, pages and index with it; where SQLite cannot tell, their packed bytes."""
    try:
        row = db.execute("SELECT sum(pgsize) FROM dbstat WHERE name IN ('chunk', 'chunk_time')").fetchone()
        return int(row[0] or 0)
    except sqlite3.Error:
        return packed


def _migrations(db: sqlite3.Connection) -> list[dict[str, object]]:
    rows = db.execute("SELECT version, utc, program FROM migration ORDER BY version")
    return [{"version": v, "utc": u, "program": p} for v, u, p in rows]
