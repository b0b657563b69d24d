"""Old raw readings taken out of a journal, without touching what any print is counted from.

Whole chunks go, when all of their readings are older than the bound. What stays: the window of every print, with the
stretch before it that a recount begins with (`replay.preroll_us`), up to the first reading after its end; the newest
chunks of each sensor, from which a daemon goes on; and the sums of every minute, which a day is shown from. What went
is written down, so that a stretch without readings is never taken for one without light.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from itertools import groupby

import msgspec

from ..clock import host_wall_us
from ..dose.response import Identity, Response, identity_response
from ..stamps import iso_utc
from .moment import whole_or_not
from .replay import begin_us, preroll_us, rebuild
from .store import Store
from .summing import catch_up

NEWEST_CHUNKS = 13
PRUNED = "pruned"  # the key in `meta`
_END = 1 << 62


class Pruned(msgspec.Struct, frozen=True):
    """A stretch of one sensor whose readings were taken out. Times in microseconds: dose time, and wall labels."""

    sensor: str
    t0_us: int
    t1_us: int
    wall0_us: int
    wall1_us: int
    readings: int
    utc: str

    def holds(self, wall_us: int) -> bool:
        """Whether a wall label lies in it."""
        return self.wall0_us <= wall_us <= self.wall1_us


class PruneDoc(msgspec.Struct, frozen=True):
    """What a pruning did, or would do. Bytes are of the journal's file."""

    before_utc: str
    dry_run: bool
    readings_deleted: int
    readings_kept: int
    readings_kept_for_prints: int
    prints: int
    bytes_before: int
    bytes_after: int | None
    stretches: list[Pruned]
    note: str = ""


class _Chunk(msgspec.Struct, frozen=True, gc=False):
    id: int
    t0_us: int
    t1_us: int
    wall0_us: int
    n: int

    @property
    def wall1_us(self) -> int:
        return self.wall0_us + self.t1_us - self.t0_us


def pruned(db: sqlite3.Connection) -> list[Pruned]:
    """All stretches that were ever taken out."""
    row = db.execute("SELECT value FROM meta WHERE key = ?", (PRUNED,)).fetchone()
    return msgspec.json.decode(row[0], type=list[Pruned]) if row is not None else []


def plan(db: sqlite3.Connection, before_wall_us: int) -> tuple[list[int], list[Pruned], int, int]:
    """What would go: ids of chunks, stretches; how many readings stay, and how many of those are old and a print's."""
    store = Store(db)
    names = [str(r[0]) for r in db.execute("SELECT DISTINCT name FROM sensor ORDER BY name")]
    ids: list[int] = []
    stretches: list[Pruned] = []
    stay = for_prints = 0
    utc = iso_utc(host_wall_us())
    for name in names:
        chunks = list(_chunks(db, name))
        windows = list(_windows(store, name))
        goes_on_us = preroll_us(store, name, chunks[-1].t1_us, _response(db, name)) if chunks else 0
        newest = {c.id for i, c in enumerate(reversed(chunks)) if i < NEWEST_CHUNKS or c.t1_us >= goes_on_us}

        def goes(chunk: _Chunk, windows: list[tuple[int, int]] = windows, newest: set[int] = newest) -> bool:
            nonlocal for_prints
            if chunk.wall1_us >= before_wall_us or chunk.id in newest:
                return False
            if any(chunk.t1_us >= a and chunk.t0_us <= b for a, b in windows):
                for_prints += chunk.n
                return False
            return True

        for going, run in groupby(chunks, goes):
            some = list(run)
            count = sum(c.n for c in some)
            if not going:
                stay += count
                continue
            ids += [c.id for c in some]
            first, last = some[0], some[-1]
            wall0_us, wall1_us = min(c.wall0_us for c in some), max(c.wall1_us for c in some)
            stretches.append(Pruned(name, first.t0_us, last.t1_us, wall0_us, wall1_us, count, utc))
    return ids, stretches, stay, for_prints


def prune(db: sqlite3.Connection, before_wall_us: int, dry_run: bool) -> PruneDoc:
    """Take out readings older than a wall time. Raises sqlite3.Error; then nothing was taken out."""
    before = _size(db)
    if not dry_run:
        catch_up(db)
    ids, stretches, stay, for_prints = plan(db, before_wall_us)
    note = ""
    if ids and not dry_run:
        with whole_or_not(db):
            db.executemany("DELETE FROM chunk WHERE id = ?", ((i,) for i in ids))
            told = msgspec.json.encode([*pruned(db), *stretches]).decode()
            db.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (PRUNED, told))
        try:
            db.execute("VACUUM")
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except sqlite3.Error as err:  # the readings are out; only the file is as large as before
            note = f"the file could not be made smaller ({err}): make room on its disk, and prune again"
    elif not dry_run and db.execute("PRAGMA freelist_count").fetchone()[0]:
        db.execute("VACUUM")
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return PruneDoc(
        before_utc=iso_utc(before_wall_us), dry_run=dry_run, readings_deleted=sum(s.readings for s in stretches),
        readings_kept=stay, readings_kept_for_prints=for_prints,
        prints=int(db.execute("SELECT count(*) FROM exposure").fetchone()[0]),
        bytes_before=before, bytes_after=None if dry_run else _size(db), stretches=stretches, note=note,
    )


def _chunks(db: sqlite3.Connection, sensor: str) -> Iterator[_Chunk]:
    rows = db.execute(
        "SELECT c.id, c.t0_us, c.t1_us, c.wall0_us, c.n FROM chunk c JOIN sensor s ON s.id = c.sensor"
        " WHERE s.name = ? ORDER BY c.id", (sensor,)
    )
    for row in rows:
        yield _Chunk(*row)


def _windows(store: Store, sensor: str) -> Iterator[tuple[int, int]]:
    """What the prints of a sensor are counted from, in dose time, both ends in it."""
    for kept in store.between(-_END, _END):
        if kept.plan.sensor != sensor:
            continue
        exposure = rebuild(store, kept)
        end_us = _END
        if kept.settled and exposure.finished_us is not None:
            end_us = max([exposure.finished_us, *(record.cut.t_us for record in exposure.acts)])
            # The first reading after the end closes the stretch in which the end lies.
            row = store.db.execute(
                "SELECT min(c.t0_us) FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ? AND c.t1_us > ?",
                (sensor, end_us),
            ).fetchone()
            end_us = max(end_us, int(row[0])) if row[0] is not None else _END
        yield preroll_us(store, sensor, min(kept.plan.begin_us, begin_us(exposure)), kept.plan.response), end_us


def _response(db: sqlite3.Connection, sensor: str) -> Response:
    """What a sensor's newest settings make of its values."""
    row = db.execute("SELECT identity FROM sensor WHERE name = ? ORDER BY id DESC LIMIT 1", (sensor,)).fetchone()
    return identity_response(msgspec.json.decode(row[0], type=Identity))


def _size(db: sqlite3.Connection) -> int:
    pages, size = (int(db.execute(f"PRAGMA {what}").fetchone()[0]) for what in ("page_count", "page_size"))
    return pages * size
