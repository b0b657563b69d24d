"""What waits for the disk is merged without losing an act, and bounded by giving up the oldest readings, counted."""

from __future__ import annotations

import random
import sqlite3
import threading
from pathlib import Path

from uvdose.journal.backlog import Backlog
from uvdose.journal.pack import unpack
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.journal.writer import Statement, Writer
from uvdose.model import RegisterReading

from .journals import SENSOR, content

_UPSERT = (
    "INSERT INTO exposure (id, sensor, begin_us, begin_wall_us, plan, state, settled, shown)"
    " VALUES (?, 1, 0, ?, '{}', ?, 0, ?) ON CONFLICT (id) DO UPDATE SET state = excluded.state, shown = excluded.shown"
)


def _batch(rng: random.Random, recorder: Recorder, n: int) -> list[Statement]:
    """A second of a daemon's life: its readings, the figures of its prints, now and then an act or an event."""
    line = RegisterReading(7, n, n * 1000, rng.randrange(10**6), n * 300_000 + rng.randrange(10**5), 0, 0, 0)
    recorder.keep_readings([("sill", n * 1_000_000, line)])
    batch = recorder.flush()
    for exposure in (1, 2):
        if rng.random() < 0.8:
            batch.append((_UPSERT, (exposure, n, f"state {n}", f'{{"n": {n}}}')))
    if rng.random() < 0.05:
        batch.append(("INSERT INTO event VALUES (?, ?, ?, 'alarm', NULL, NULL, '{}')", (n, n, n)))
        batch.append(("UPDATE call SET proven_us = ? WHERE exposure = 1", (n,)))
        batch.append(("INSERT OR IGNORE INTO call VALUES (1, ?, 'look', 'sill', 0, 0, '', NULL, NULL)", (f"k{n}",)))
    return batch


def test_merged_or_one_by_one_the_journal_is_the_same(tmp_path: Path) -> None:
    for name, groups in (("merged", True), ("single", False)):
        db = open_writing(tmp_path / name)
        db.execute("PRAGMA synchronous=OFF")  # no test here pulls the plug
        recorder, rng, backlog = Recorder(db, lambda t: t), random.Random(1), Backlog()
        batches = [recorder.sensor(SENSOR), *(_batch(rng, recorder, n) for n in range(2000))]
        for batch in batches:
            if groups:
                backlog.add(batch)
                continue
            for sql, values in batch:
                db.execute(sql, values)
        for group in backlog.groups:
            assert len(group.rows) < 520
            for sql, values in group.rows.values():
                db.execute(sql, values)
        if groups:
            statements = sum(len(g.rows) for g in backlog.groups)
            assert statements < sum(map(len, batches)) / 5
        db.close()
    merged, single = content(tmp_path / "merged"), content(tmp_path / "single")
    for table in ("chunk", "event", "call", "exposure", "sensor"):
        assert merged[table] == single[table], table


def test_a_disk_that_fails_for_days_costs_the_oldest_readings_only_and_that_is_told(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    db = open_writing(path)
    db.execute("PRAGMA busy_timeout = 10")
    recorder, rng = Recorder(db, lambda t: t), random.Random(1)
    told: list[str] = []
    failed, gone, again = threading.Event(), threading.Event(), threading.Event()

    def trouble(line: str) -> None:
        told.append(line)
        (again if not line else gone if "given up" in line else failed).set()

    backlog = Backlog(waiting_bytes=60_000)
    writer = Writer(db, trouble, backlog)
    writer.commit(recorder.sensor(SENSOR)).result(5)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    events, futures = [], set()
    most = 0
    for n in range(1, 30_000):
        batch = _batch(rng, recorder, n)
        events += [n for sql, _ in batch if "INTO event" in sql]
        futures.add(writer.commit(batch))
        most = max(most, backlog.bytes())
    assert failed.wait(5) and gone.wait(5)
    # Bounded: what is left above the bound are the acts, events and figures that are never given up.
    assert most < 600_000 and len(futures) < 200
    other.execute("COMMIT")
    for future in futures:
        future.result(30)
    assert again.wait(5) and writer.close() and told[-1] == ""
    kept = [int(r[0]) for r in db.execute("SELECT id FROM event ORDER BY id")]
    assert kept == events
    readings = 0
    for kind, count, data in db.execute("SELECT kind, n, data FROM chunk"):
        assert len(unpack(kind, data)) == count
        readings += count
    assert writer.given_up > 10_000 and readings + writer.given_up >= 29_999
    assert db.execute("SELECT state, begin_wall_us < 20 FROM exposure WHERE id = 1").fetchone()[1] == 1


def test_batches_that_wait_share_a_commit_and_a_lone_one_does_not_wait(tmp_path: Path) -> None:
    db = open_writing(tmp_path / "journal.sqlite3")
    writer = Writer(db, lambda line: None)
    writer.commit([("INSERT INTO meta VALUES ('a', '1')", ())]).result(1)
    assert db.execute("SELECT value FROM meta WHERE key = 'a'").fetchone() == ("1",)
    assert writer.close()
