"""A journal of 300 printing days at one reading a second: a day opened and a year looked over, against bare SQL for the
same rows; what the minutes take on disk, and what they cost the writer.
"""

from __future__ import annotations

import math
import random
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from functools import partial
from pathlib import Path

import msgspec

from uvdose.dose.response import identity_of, response_of
from uvdose.exposure.document import document
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.journal.blocks import readable
from uvdose.journal.pack import CHUNK, REGISTER, pack
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_reading, open_writing
from uvdose.journal.store import Store
from uvdose.journal.summing import Summer, catch_up
from uvdose.journal.writer import Writer
from uvdose.messages import ExposureDoc
from uvdose.model import RegisterReading
from uvdose.review.gather import gather
from uvdose.review.minutes import light_minutes
from uvdose.review.year import gather_days
from uvdose.stamps import iso_utc, local_date

from .common import Row, plain, row, seconds_of, side_by_side
from .pipeline import FAR, NAME, NATIVE, lit_bench, register_readings

BEGIN_US = 1_767_254_400_000_000  # 2026-01-01 08:00 UTC
DAY_US = 86_400_000_000
HOURS = 6
PRINTS_A_DAY = 8
_MINUTES = "SELECT * FROM minute WHERE sensor = 1 AND minute >= ? AND minute < ?"
_SHOWN = "SELECT plan, shown FROM exposure WHERE begin_wall_us >= ? AND begin_wall_us < ? ORDER BY id"


def year_journal(path: Path, days: int) -> None:
    """Readings as a node in the sun gives them, six hours a day, and eight finished prints each; nothing summed yet."""
    rng = random.Random(20260101)
    with closing(open_writing(path)) as db:
        db.execute("PRAGMA synchronous=OFF")
        recorder = Recorder(db, lambda t_us: BEGIN_US + t_us)
        db.execute("BEGIN")
        for sql, values in recorder.sensor(identity_of(NATIVE)):
            db.execute(sql, values)
        exposure, shown = _print()
        chunk = register = count = 0
        for day in range(days):
            for begin in range(0, HOURS * 3600, CHUNK):
                rows = []
                for second in range(begin, begin + CHUNK):
                    count += 1
                    level = int(700_000 * math.sin(math.pi * (second + 1) / (HOURS * 3600 + 2)) + rng.gauss(0, 3000))
                    register += max(0, level)
                    line = RegisterReading(7, count, count * 1000, max(0, level), register, 0, 0, 0)
                    rows.append((day * DAY_US + second * 1_000_000 + rng.randrange(900), line))
                chunk += 1
                t0_us, t1_us = rows[0][0], rows[-1][0]
                values = (chunk, 1, REGISTER, t0_us, t1_us, BEGIN_US + t0_us, CHUNK, pack(list(rows)))
                db.execute("INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)
            for k in range(PRINTS_A_DAY):
                _insert_print(recorder, exposure, shown, day * DAY_US + (k + 1) * 2_000_000_000)
        db.execute("COMMIT")


def _insert_print(recorder: Recorder, exposure: Exposure, shown: ExposureDoc, t_us: int) -> None:
    """The same print once more, begun at another dose time."""
    db, shift_us = recorder.store.db, t_us - exposure.plan.begin_us
    exposure.plan = msgspec.structs.replace(exposure.plan, id=recorder.next_exposure(), begin_us=t_us)
    sql, values = recorder.exposure(exposure, msgspec.structs.replace(
        shown, id=exposure.plan.id, started_utc=iso_utc(BEGIN_US + t_us),
        finished_utc=iso_utc(BEGIN_US + t_us + 600_000_000),
    ))  # fmt: skip
    db.execute(sql, values)
    for k, record in enumerate(exposure.acts):
        mark = msgspec.structs.replace(record.mark, t_us=record.mark.t_us + shift_us)
        exposure.acts[k] = record = msgspec.structs.replace(record, t_us=record.t_us + shift_us, mark=mark)
        db.execute(
            "INSERT INTO act (exposure, number, act, t_us, wall_us, mark) VALUES (?, ?, ?, ?, ?, ?)",
            (exposure.plan.id, record.number, str(record.act), record.t_us, BEGIN_US + record.t_us,
             recorder.json(mark)),
        )  # fmt: skip


def _print() -> tuple[Exposure, ExposureDoc]:
    """A print as the bench leaves it once it is settled, begun at 1 s."""
    bench = lit_bench(NATIVE, frames=0)
    lines = register_readings(700, 1000)
    bench.take(NAME, [lines[0]], 1_000_000)
    exposure = bench.start(Plan(1, FAR, NAME, "1", response_of(NATIVE), 1_000_000), 1_000_000).changed[0]
    for k, line in enumerate(lines[1:600], 2):
        bench.take(NAME, [line], k * 1_000_000)
    bench.act(1, Act.FINISH, 600_500_000)
    for k, line in enumerate(lines[600:], 601):
        bench.take(NAME, [line], k * 1_000_000)
    return exposure, document(exposure, bench.channels[NAME].track, 700_000_000, [])


def year_rows(quick: bool) -> list[Row]:
    """All of it."""
    days = 20 if quick else 300
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "journal.sqlite3"
        year_journal(path, days)
        with closing(open_writing(path)) as db:
            blocks = db.execute("SELECT count(*) FROM chunk").fetchone()[0]
            bare = seconds_of(lambda: _unpack_all(db))
            db.execute("PRAGMA synchronous=OFF")
            summed = seconds_of(lambda: catch_up(db))
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            sizes = dict(db.execute("SELECT name, sum(pgsize) FROM dbstat GROUP BY name"))
        rows = [
            plain("year: readings summed", "s", summed, bare, note=f"{blocks:,} blocks; bare: unpacking them alone"),
            plain("year: size of the minutes", "kB/day", sizes["minute"] / days / 1e3,
                  (sizes["chunk"] + sizes["chunk_time"]) / days / 1e3, note="against that of the readings"),
            *_looked_at(path, days, 3 if quick else 7),
        ]  # fmt: skip
    return [*rows, *_writer(quick)]


def _looked_at(path: Path, days: int, rounds: int) -> list[Row]:
    with closing(open_reading(path)) as db:
        store = Store(db)
        begin_us = BEGIN_US // DAY_US * DAY_US
        middle = begin_us + days // 2 * DAY_US
        date, year = local_date(middle + DAY_US // 2), local_date(BEGIN_US)[:4]

        def bare(wall0_us: int, wall1_us: int) -> float:
            def run() -> None:
                db.execute(_MINUTES, (wall0_us // 60_000_000, wall1_us // 60_000_000)).fetchall()
                db.execute(_SHOWN, (wall0_us, wall1_us)).fetchall()

            return seconds_of(run) * 1e3

        def ms(run: object) -> float:
            return seconds_of(run) * 1e3  # type: ignore[arg-type]

        one, light, one_bare, whole, whole_bare = side_by_side(
            rounds,
            partial(ms, lambda: gather(store, date)),
            partial(ms, lambda: light_minutes(store, middle, middle + DAY_US)),
            partial(bare, middle, middle + DAY_US),
            partial(ms, lambda: gather_days(store, year)),
            partial(bare, begin_us, begin_us + days * DAY_US),
        )
    home = path.parent
    (home / "uvdose.toml").write_text(f'[[sensor]]\nname = "{NAME}"\nlink = "simulated"\n')
    command = [sys.executable, "-m", "uvdose", "days", year, "--home", str(home)]
    told = [seconds_of(lambda: subprocess.run(command, check=True, capture_output=True)) * 1e3 for _ in range(rounds)]
    return [
        row("year: a day's light opened", "ms", light, one_bare, better="less", note="bare: SQL for the same rows"),
        row("year: a day opened", "ms", one, one_bare, better="less", note="raw readings for trace and prints, too"),
        row("year: a year looked over", "ms", whole, whole_bare, better="less", note=f"{days} printing days"),
        row("year: `uvdose days`, whole command", "ms", told, whole_bare, better="less"),
    ]


def _unpack_all(db: sqlite3.Connection) -> None:
    for kind, data in db.execute("SELECT kind, data FROM chunk ORDER BY id"):
        readable(kind, data)


def _writer(quick: bool) -> list[Row]:
    """Processor time of the writer's thread for a reading, with and without the sums."""
    lines = register_readings(6_000 if quick else 30_000, 1000)

    def run(with_sums: bool) -> float:
        with tempfile.TemporaryDirectory() as name, closing(open_writing(Path(name) / "journal.sqlite3")) as db:
            recorder = Recorder(db, lambda t_us: BEGIN_US + t_us)
            writer = Writer(db, lambda line: None, summer=Summer(db) if with_sums else None)
            writer.commit(recorder.sensor(identity_of(NATIVE))).result()

            def all_of_it() -> None:
                for k in range(0, len(lines), 10):
                    recorder.keep_readings([(NAME, r.uptime_ms * 1000, r) for r in lines[k : k + 10]])
                    writer.commit(recorder.flush()).result()

            seconds = seconds_of(all_of_it)
            writer.close()
            return seconds / len(lines) * 1e6

    ours, bare = side_by_side(3, partial(run, True), partial(run, False))
    return [row("year: a reading written", "us", ours, bare, better="less", note="10 a commit; bare: without sums")]
