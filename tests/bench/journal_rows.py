"""The journal: readings a second into it and bytes a reading on disk; and a recount out of it against numpy."""

from __future__ import annotations

import itertools
import sqlite3
import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import msgspec
import numpy as np

from uvdose.config import SensorSettings
from uvdose.dose.integrator import Track
from uvdose.dose.response import Response, identity_of, response_of
from uvdose.dose.standing import Standing
from uvdose.exposure.bench import Bench
from uvdose.exposure.channel import Channel
from uvdose.exposure.document import document
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import ActRecord, Plan
from uvdose.exposure.states import Act
from uvdose.journal import arrays
from uvdose.journal.counting import Counting
from uvdose.journal.judged import judged
from uvdose.journal.pack import CHUNK, MOMENT, REGISTER
from uvdose.journal.recorder import Recorder
from uvdose.journal.replay import count_anew, rebuild, replay
from uvdose.journal.store import Store
from uvdose.model import Mark, MomentReading, Reading, RegisterReading

from .common import Row, plain, row, seconds_of, side_by_side
from .pipeline import FAR, NAME, NATIVE, NUMBERS, Journal, lit_bench, moment_readings, register_readings

Timed = list[tuple[str, int, Reading]]
_TABLE = (
    "CREATE TABLE reading (t_us INTEGER PRIMARY KEY, sensor INTEGER, boot INTEGER, seq INTEGER, uptime_ms INTEGER,"
    " level_milli INTEGER, register INTEGER, sat_ms INTEGER, presses INTEGER, flags INTEGER)"
)
_INSERT = "INSERT INTO reading VALUES (?, 1, ?, ?, ?, ?, ?, ?, ?, ?)"


def _timed(readings: list[RegisterReading]) -> Timed:
    """With dose times as arrivals give them: half a millisecond of jitter."""
    return [(NAME, r.uptime_ms * 1000 + hash((r.seq, r.register)) % 500, r) for r in readings]


def _batches(rows: Timed, size: int) -> list[Timed]:
    return [rows[i : i + size] for i in range(0, len(rows), size)]


def _bare_db(folder: Path) -> sqlite3.Connection:
    db = sqlite3.connect(folder / "bare.sqlite3", isolation_level=None)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    db.execute(_TABLE)
    return db


def _ours(batches: list[Timed]) -> tuple[float, int]:
    """Seconds, and bytes of the file that are not there without readings."""
    with tempfile.TemporaryDirectory() as name:
        journal = Journal(Path(name), NATIVE)
        journal.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        empty = journal.file.stat().st_size

        def run() -> None:
            for batch in batches:
                journal.recorder.keep_readings(batch)
                journal.writer.commit(journal.recorder.flush())
            journal.writer.commit([]).result()

        seconds = seconds_of(run)
        journal.close()
        return seconds, journal.file.stat().st_size - empty


def _bare(batches: list[Timed]) -> tuple[float, int]:
    with tempfile.TemporaryDirectory() as name:
        db = _bare_db(Path(name))

        def run() -> None:
            for batch in batches:
                db.execute("BEGIN IMMEDIATE")
                db.executemany(_INSERT, [(t_us, *msgspec.structs.astuple(r)) for _, t_us, r in batch])
                db.execute("COMMIT")

        seconds = seconds_of(run)
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        db.close()
        return seconds, (Path(name) / "bare.sqlite3").stat().st_size


def _rate(run: Callable[[list[Timed]], tuple[float, int]], batches: list[Timed]) -> float:
    return sum(map(len, batches)) / run(batches)[0]


def journal_rows(quick: bool) -> list[Row]:
    """Readings a second in batches of 10 and of 1000; bytes a reading at 1 Hz and 10 Hz, committed each second."""
    rows: list[Row] = []
    for batch, commits, rounds in ((10, 300, 3), (1000, 30, 3)) if quick else ((10, 1500, 5), (1000, 100, 5)):
        batches = _batches(_timed(register_readings(batch * commits, 100)), batch)
        ours, bare = side_by_side(rounds, partial(_rate, _ours, batches), partial(_rate, _bare, batches))
        rows.append(
            row(f"journal: readings in, {batch} a commit", "1/s", ours, bare, note="bare: executemany of the same rows")
        )
    for rate in (1, 10):
        readings = (600 if quick else 7200) * rate
        batches = _batches(_timed(register_readings(readings, 1000 // rate)), rate)
        (_, ours_size), (_, bare_size) = _ours(batches), _bare(batches)
        rows.append(plain(f"journal: size at {rate} Hz", "B/read", ours_size / readings, bare_size / readings,
                          note=f"{readings:,} readings, committed each second"))  # fmt: skip
    return rows


# recount --------------------------------------------------------------------------------------------------------


def recount_rows(quick: bool) -> list[Row]:
    """Readings a second counted again, against numpy's cumulative trapezoid on arrays that are there already."""
    number, rounds = (5_000, 3) if quick else (200_000, 3)
    return [
        *_recount("momentary", NUMBERS, moment_readings(number), rounds),
        *_recount("register", NATIVE, register_readings(number, 100), rounds),
        *_arrays(1_000_000 if quick else 10_000_000, rounds),
    ]


def _recount(what: str, sensor: SensorSettings, readings: Sequence[Reading],
             rounds: int) -> list[Row]:  # fmt: skip
    with tempfile.TemporaryDirectory() as name:
        journal = Journal(Path(name), sensor)
        _live(journal, sensor, readings)
        store = Store(journal.db)
        kept = store.exposure(1)
        rows = list(store.readings(sensor.name, 0))
        times = np.array([t for t, _ in rows[:-1]]) / 1e6  # the last reading only closes the exposure
        values = np.array([r.value if isinstance(r, MomentReading) else r.level_milli / 1000 for _, r in rows[:-1]])
        pairs = list(zip(times.tolist(), values.tolist(), strict=True))
        with_numpy, dose = 0.0, count_anew(store, kept).exposure.account.figures().dose

        def numpy_sum() -> None:
            nonlocal with_numpy
            with_numpy = float(np.cumsum(np.diff(times) * ((values[1:] + values[:-1]) / 2))[-1])

        def python_sum() -> None:
            total = 0.0
            for (t0, v0), (t1, v1) in itertools.pairwise(pairs):
                total += (t1 - t0) * ((v0 + v1) / 2)

        memory = list(judged(store.db, sensor.name, 0))

        def again() -> None:
            channel = Channel(sensor.name, kept.identity, kept.plan.response)
            replay(channel, [rebuild(store, kept)], memory)

        def rate(run: Callable[[], object]) -> Callable[[], float]:
            return lambda: len(rows) / seconds_of(run)

        whole, counted, loop, fast, read = side_by_side(
            rounds, rate(lambda: count_anew(store, kept, in_bulk=True)), rate(again), rate(python_sum), rate(numpy_sum),
            rate(lambda: list(judged(store.db, sensor.name, 0))),
        )  # fmt: skip
        journal.close()
    factor = kept.plan.response.factor
    off = abs(dose / (with_numpy * factor) - 1)
    seconds = len(rows) / sorted(whole)[rounds // 2]
    note = f"{len(rows):,} readings in {seconds:.2f} s out of the journal; dose differs from numpy's by {off:.1e}"
    return [
        row(f"recount: {what} vs numpy", "1/s", whole, fast, note=note),
        row(f"recount: {what} vs Python loop", "1/s", counted, loop, note="both with the readings in memory"),
        row(f"recount: {what}, reading the journal", "1/s", read, loop, note="unpacking alone, against the same loop"),
    ]


def _arrays(number: int, rounds: int) -> list[Row]:
    """Readings that lie in arrays, ten a second: all that a recount does with them, against numpy's trapezoid."""
    rng = np.random.default_rng(1)
    t_us = np.arange(1, number + 1, dtype=np.int64) * 100_000 + rng.integers(0, 500, number)
    slow = 200_000 * np.sin(np.arange(number) / 20_000)
    level = 400_000 + slow.astype(np.int64) + rng.integers(-3000, 3001, number)
    values, seconds = level / 1000.0, t_us / 1e6
    zeros, seq = np.zeros(number, np.int64), np.arange(number, dtype=np.int64)
    lines = np.stack((zeros, seq, seq * 100, level, np.cumsum(level // 10), zeros, zeros, zeros))
    moments = np.stack((values.view(np.int64), zeros))
    rows: list[Row] = []
    for what, sensor, kind, columns in (("momentary", NUMBERS, MOMENT, moments), ("register", NATIVE, REGISTER, lines)):
        response = response_of(sensor)
        whole = arrays.Block(response, kind, t_us, values, columns)
        cuts = range(0, number, arrays.CHUNKS * CHUNK)
        blocks = [whole.part(at, at + arrays.CHUNKS * CHUNK) for at in cuts]
        dose = 0.0

        def count(response: Response = response, blocks: list[arrays.Block] = blocks) -> None:
            nonlocal dose
            exposure = Exposure(Plan(1, FAR, NAME, "1", response, 0))
            exposure.restore(ActRecord(0, Act.LIGHT, 0, Mark(0)))
            Counting(Track(response, watch=Standing), [exposure]).take(blocks)
            dose = exposure.account.figures().dose / response.factor

        total = 0.0

        def numpy_sum() -> None:
            nonlocal total
            total = float(np.cumsum(np.diff(seconds) * ((values[1:] + values[:-1]) / 2))[-1])

        ours, bare = side_by_side(
            rounds, lambda: number / seconds_of(count), lambda: number / seconds_of(numpy_sum)
        )
        note = f"{number:,} readings: dose, interval, holes, values that stand; off by {abs(dose / total - 1):.0e}"
        rows.append(row(f"recount: {what} arrays vs numpy", "1/s", ours, bare, note=note))
    return rows


def _live(journal: Journal, sensor: SensorSettings, readings: Sequence[Reading]) -> None:
    """A finished exposure over all the readings, ten a second, as the daemon would have recorded it."""
    recorder: Recorder = journal.recorder
    bench: Bench = lit_bench(sensor, frames=0)
    channel = bench.channels[sensor.name]

    def settle(out: Outcome, now_us: int) -> None:
        recorder.keep_readings(out.readings)
        if out.pressing:
            shown = {e.id: document(e, channel.track, now_us, []) for e in out.changed}
            journal.writer.commit([*recorder.flush(), *recorder.outcome(out, shown)[0]])

    settle(bench.take(sensor.name, [readings[0]], 100_000), 100_000)
    plan = Plan(recorder.next_exposure(), FAR, sensor.name, "1", response_of(sensor), 100_000)
    settle(bench.start(plan, 100_000), 100_000)
    now_us = 100_000
    for i, reading in enumerate(readings[1:-1], 1):
        now_us = (i + 1) * 100_000
        settle(bench.take(sensor.name, [reading], now_us), now_us)
    settle(bench.act(plan.id, Act.FINISH, now_us), now_us)
    now_us += 100_000
    settle(bench.take(sensor.name, [readings[-1]], now_us), now_us)
    journal.writer.commit(recorder.flush()).result()
    assert identity_of(sensor) == channel.identity
    assert not journal.troubles
