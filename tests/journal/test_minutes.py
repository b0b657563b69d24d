"""The minutes of a journal: what the stored sums and the unsummed rest say together is what the readings say.

The oracle adds up all readings of a sensor in one go, in numpy; measured light is that of Payerne.
"""

from __future__ import annotations

import random
import sqlite3
import time
from pathlib import Path

import msgspec
import numpy as np
import pytest
from support.payerne import uva_w_m2

from uvdose.config import SensorSettings
from uvdose.dose.response import Identity, identity_of
from uvdose.journal.care import look_after
from uvdose.journal.checkup import check
from uvdose.journal.minutes import COLUMNS, Found, minutes_between
from uvdose.journal.prune import prune, pruned
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import VERSION, migrate, open_reading, open_writing
from uvdose.journal.store import Store
from uvdose.journal.summing import Summer, catch_up
from uvdose.journal.writer import Writer
from uvdose.model import MomentReading, Reading, RegisterReading
from uvdose.review.minutes import light_minutes

from .journals import WALL_US, fill
from .test_care import _page_of, _spoil

S, MINUTE_US, EVER_US = 1_000_000, 60_000_000, 1 << 60
JUNE_US = 1_464_739_200_000_000  # 2016-06-01 00:00 UTC
ROOF = identity_of(SensorSettings("roof", "serial", port="-", format="number", unit="W/m2"))
SILL = identity_of(SensorSettings("sill", "serial", port="-", scale=0.0125, full_scale=1023.0))


class Bench:
    """Recorder and writer on a journal, as the daemon has them; `kill` leaves both as they are and opens it anew."""

    def __init__(self, path: Path, offset_us: int = WALL_US) -> None:
        self.path = path
        self.offset_us = offset_us
        self.identities = [SILL, ROOF]
        self.open()

    def open(self) -> None:
        self.db = open_writing(self.path)
        self.db.execute("PRAGMA synchronous=OFF")  # no test here pulls the plug
        self.recorder = Recorder(self.db, lambda t_us: self.offset_us + t_us)
        self.summer = Summer(self.db)
        for identity in self.identities:
            self.put(self.recorder.sensor(identity), 0)

    def put(self, statements: list[tuple[str, tuple[object, ...]]], summed: int) -> bool:
        """One transaction of the writer."""
        self.db.execute("BEGIN IMMEDIATE")
        for sql, values in statements:
            self.db.execute(sql, values)
        more = self.summer.turn(summed) if summed else True
        self.db.execute("COMMIT")
        return more

    def kill(self) -> None:
        self.db.close()
        self.open()


def rows_of(db: sqlite3.Connection) -> Found:
    return minutes_between(db, 0, EVER_US)


def raw_of(db: sqlite3.Connection) -> Found:
    """The same as if nothing had ever been summed."""
    db.execute("BEGIN")
    db.execute("DELETE FROM minute")
    db.execute("DELETE FROM summed")
    found = rows_of(db)
    db.execute("ROLLBACK")
    return found


def test_a_month_of_measured_light_gives_its_daily_doses(tmp_path: Path) -> None:
    """Payerne, June 2016, one reading a minute: daily doses of UVA between 503 and 1473 kJ/m², median 1012.

    Source: sum of the record's minutes x 60 s, BSRN LR0500 as carried by pvlib 0.11.2.
    """
    bench = Bench(tmp_path / "journal.sqlite3", JUNE_US)
    for minute, light in enumerate(uva_w_m2()):
        if light is not None:
            bench.recorder.keep_readings([("roof", minute * MINUTE_US + 30 * S, MomentReading(light))])
        if minute % 500 == 0:
            bench.put(bench.recorder.flush(), 12)
    bench.put(bench.recorder.flush(), 12)
    assert bench.db.execute("SELECT count(*) FROM minute").fetchone()[0] > 40_000
    day_us = 1440 * MINUTE_US
    begins = [JUNE_US + day * day_us for day in range(30)]
    days = [one for begin in begins for one in light_minutes(Store(bench.db), begin, begin + day_us, "roof")]
    doses = np.array([day.dose for day in days]) / 100  # kJ/m² of mJ/cm²
    exact = np.nansum(np.array(uva_w_m2(), dtype=float).reshape(30, 1440) * 60 / 1000, axis=1)
    assert doses == pytest.approx(exact, rel=1e-3)
    assert [round(float(f(doses))) for f in (np.min, np.median, np.max)] == [503, 1012, 1473]
    assert all(day.unit == "mW/cm2" and day.bridged.sum() == 0 for day in days)


def _story(bench: Bench, rng: random.Random, steps: int) -> None:
    """Seconds of light with all that befalls a bench; the same seed gives the same readings."""
    register, uptime_ms, boot = 0, 0, 1
    t_us = bench.db.execute("SELECT coalesce(max(t1_us), 0) FROM chunk").fetchone()[0]
    for seq in range(1, steps + 1):
        t_us += rng.choice([S] * 30 + [rng.randrange(1, 5 * S), rng.randrange(10 * S, 59 * S), 61 * S, 4000 * S])
        ahead_ms = t_us // 1000 - uptime_ms
        if rng.random() < 0.003:
            boot, uptime_ms, register = boot + 1, rng.randrange(1, 2000), 0
        level = rng.choice([rng.randrange(1000), 1023])
        uptime_ms = t_us // 1000 if boot == 1 else uptime_ms + 1000
        register += level * max(0, min(ahead_ms, 60_000))
        line = RegisterReading(boot, seq, uptime_ms % (1 << 32), level * 1000, register, 0, 0, 0)
        bench.recorder.keep_readings([("sill", t_us, line)])
        if rng.random() < 0.5:
            batch = [("roof", t_us - k, MomentReading(rng.uniform(0, 60))) for k in (3, 2, 1)]
            bench.recorder.keep_readings(batch)
        if rng.random() < 0.004:
            bench.offset_us += rng.choice([-1, 1]) * rng.randrange(200 * S)  # the wall clock is set
        if rng.random() < 0.004:
            other = msgspec.structs.replace(bench.identities[0], zero=rng.uniform(0, 2))
            bench.identities[0] = other
            bench.put([*bench.recorder.flush(), *bench.recorder.sensor(other)], rng.randrange(4))
        if rng.random() < 0.05:
            bench.put(bench.recorder.flush(), rng.randrange(4))
        if rng.random() < 0.003:
            bench.kill()


@pytest.mark.parametrize("seed", range(8))
def test_sums_and_the_unsummed_rest_are_the_readings_whatever_befalls(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    bench = Bench(tmp_path / "journal.sqlite3")
    for _ in range(4):
        _story(bench, rng, 500)
        bench.put(bench.recorder.flush(), rng.randrange(1, 4))
        told = rows_of(bench.db)
        assert told == raw_of(bench.db), "to the last bit"
        found = check(bench.db, bench.path, every_minute=True)
        assert found.ok and found.minutes_proved == found.minutes > 0
    _against_numpy(bench.db, told)
    before = rows_of(bench.db)
    bench.db.close()
    with sqlite3.connect(bench.path, isolation_level=None) as db:
        prune(db, 4_000_000_000 * S, dry_run=False)
        assert pruned(db) and rows_of(db) == before, "minutes stay when readings go"
        found = check(db, bench.path, every_minute=True)
        assert found.ok and 0 < found.minutes_proved < found.minutes
    db.close()
    bench.open()
    _story(bench, rng, 300)
    while bench.put(bench.recorder.flush(), 3):
        pass
    assert check(bench.db, bench.path, every_minute=True).ok, "what is new is added to what was kept"


def _against_numpy(db: sqlite3.Connection, told: Found) -> None:
    """Number, sum, maximum of the readings of each minute, and the momentary sensor's light, over the whole journal."""
    table = dict(zip(COLUMNS, np.array(told.rows, dtype=float).T, strict=True))
    walls: list[int] = []
    values: list[float] = []
    sensors: list[int] = []
    light = 0.0
    last: tuple[int, float] | None = None
    store = Store(db)
    for number, shift_us, t0_us, t1_us in db.execute(
        "SELECT sensor, wall0_us - t0_us, t0_us, t1_us FROM chunk ORDER BY id"
    ):
        name = told.identities[number].name
        for t_us, r in store.readings(name, t0_us, t1_us):
            value = r.value if isinstance(r, MomentReading) else r.level_milli / 1000
            walls.append((t_us + shift_us) // MINUTE_US)
            values.append(value)
            sensors.append(number)
            if name == "roof":
                if last is not None and t_us - last[0] <= MINUTE_US:
                    light += (t_us - last[0]) / S * (value + last[1]) / 2
                last = t_us, value
    key = np.array(sensors) * 10**9 + np.array(walls)
    keys, place = np.unique(key, return_inverse=True)
    has = table["n"] > 0
    assert list(table["sensor"][has] * 10**9 + table["minute"][has]) == list(keys)
    assert list(table["n"][has]) == list(np.bincount(place))
    assert table["total"][has] == pytest.approx(np.bincount(place, values), rel=1e-12)
    most = np.full(len(keys), -np.inf)
    np.maximum.at(most, place, values)
    assert list(table["strongest"][has]) == list(most)
    roof = [n for n, identity in told.identities.items() if identity.name == "roof"]
    mine = np.isin(table["sensor"], roof)
    assert float((table["measured"] + table["bridged"])[mine].sum()) == pytest.approx(light, rel=1e-9)


def test_a_journal_of_schema_3_is_summed_by_the_writer_while_it_works(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    new = tmp_path / "new.sqlite3"
    fill(new).close()
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, 0, 3)
    db.execute("ATTACH ? AS new", (str(new),))
    for table in ("sensor", "chunk"):
        db.execute(f"INSERT INTO {table} SELECT * FROM new.{table}")
    db.execute("INSERT INTO exposure (id, sensor, begin_us, begin_wall_us, plan, state, settled, shown)"
               " VALUES (1, 1, 0, 0, '{}', 'finished', 1, '{}')")  # fmt: skip
    db.close()
    db = open_writing(path)
    assert db.execute("PRAGMA user_version").fetchone()[0] == VERSION and list(tmp_path.glob("journal.schema-3-*"))
    assert db.execute("SELECT count(*) FROM minute").fetchone()[0] == 0
    reader = open_reading(path)
    told = rows_of(reader)
    assert len(told.rows) == 120, "at once, from raw"
    recorder = Recorder(db, lambda t: WALL_US + t)
    writer = Writer(db, lambda line: None, summer=Summer(db))
    end_s = time.monotonic() + 20
    t_us = 7200 * S
    while reader.execute("SELECT coalesce(min(chunk), 0) FROM summed").fetchone()[0] < 60:
        t_us += S
        writer.commit([("INSERT INTO event VALUES (?, 0, 0, 'alarm', NULL, NULL, '{}')", (t_us,))]).result(5)
        assert rows_of(reader) == told, "at every moment"
        assert check(reader, path, every_minute=True).ok, "beside the writer"
        assert time.monotonic() < end_s
    assert recorder.flush() == [] and writer.close()
    assert check(reader, path, every_minute=True).minutes_proved == 120


def test_old_readings_that_cannot_be_read_hold_nothing_up(tmp_path: Path) -> None:
    """A page of an old block is damaged: the writer gives summing up for this run, and goes on."""
    path = tmp_path / "journal.sqlite3"
    fill(path).close()
    offset, size = _page_of(path, "chunk", 5)
    _spoil(path, offset, b"\xa5" * size)
    db = open_writing(path)
    troubles: list[str] = []
    writer = Writer(db, troubles.append, summer=Summer(db))
    for number in range(1000, 1100):
        writer.commit([("INSERT INTO event VALUES (?, 0, 0, 'x', NULL, NULL, '{}')", (number,))]).result(5)
        time.sleep(0.002)
    assert writer.alive() and writer.close() and not troubles
    assert db.execute("SELECT count(*) FROM event WHERE id >= 1000").fetchone()[0] == 100


def test_a_block_whose_bytes_have_rotted_has_no_light_and_the_others_have_theirs(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    db = fill(path)
    db.execute("UPDATE chunk SET data = x'00' WHERE id = 30")
    catch_up(db)
    assert db.execute("SELECT sum(n) FROM minute").fetchone()[0] == 59 * 120
    found = check(db, path, every_minute=True)
    assert found.problems == ["readings 30: they cannot be unpacked"], "and no sum is called wrong"


def test_a_sum_that_is_wrong_is_found(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    db = fill(path)
    catch_up(db)
    assert check(db, path).ok
    for spoil in ("UPDATE minute SET measured = measured * (1 + 1e-15) WHERE n = 60 AND minute % 7 = 0",
                  "DELETE FROM minute WHERE minute % 7 = 0",
                  "INSERT INTO minute SELECT sensor, minute + 5000, n, total, strongest, first_us, last_us, full_n,"
                  " measured, bridged, measured_us, bridged_us, full_us FROM minute LIMIT 1"):  # fmt: skip
        db.execute("BEGIN")
        db.execute(spoil)
        found = check(db, path)
        assert not found.ok and any("sums are not those" in p for p in found.problems)
        db.execute("ROLLBACK")


def test_numbers_that_are_missing_are_waited_for(tmp_path: Path) -> None:
    """A block may be given up with a disk that fails, and may be written again: no later one is summed before it."""
    bench = Bench(tmp_path / "journal.sqlite3")
    statements = []
    for k in range(400):
        bench.recorder.keep_readings([("roof", k * S, MomentReading(5.0))])
        statements += bench.recorder.flush()
    late = [s for s in statements if s[1][0] == 2]
    bench.put([s for s in statements if s[1][0] != 2], 9)
    assert bench.db.execute("SELECT chunk FROM summed WHERE name = 'roof'").fetchone()[0] == 0
    assert rows_of(bench.db) == raw_of(bench.db)
    bench.put(late, 9)
    assert bench.db.execute("SELECT chunk FROM summed WHERE name = 'roof'").fetchone()[0] == 3
    assert rows_of(bench.db) == raw_of(bench.db) and check(bench.db, bench.path, every_minute=True).ok


def test_a_rolled_back_turn_is_made_again(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "journal.sqlite3")
    for k in range(1000):
        bench.recorder.keep_readings([("roof", k * S, MomentReading(5.0))])
    statements = bench.recorder.flush()
    for _ in range(2):
        bench.db.execute("BEGIN")
        for sql, values in statements:
            bench.db.execute(sql, values)
        bench.summer.turn(3)
        bench.db.execute("ROLLBACK")
        bench.summer.forget()
    while bench.put(statements, 3):
        statements = []
    found = check(bench.db, bench.path, every_minute=True)
    assert found.ok and found.minutes_proved == 16


@pytest.mark.parametrize("table", ["minute", "summed", "chunk"])
def test_after_a_rescue_the_minutes_are_those_of_what_could_be_read(tmp_path: Path, table: str) -> None:
    path = tmp_path / "journal.sqlite3"
    db = fill(path)
    catch_up(db)
    prune(db, WALL_US + 3000 * S, dry_run=False)
    before = {row[:2]: row for row in rows_of(db).rows}
    gone = pruned(db)[0]
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    offset, size = _page_of(path, table, -1)
    _spoil(path, offset, b"\xa5" * size)
    [line] = look_after(path)
    assert "was damaged" in line
    db = open_writing(path)
    recorder = Recorder(db, lambda t: WALL_US + t)
    summer, more = Summer(db), True
    while more:
        db.execute("BEGIN")
        more = summer.turn(5)
        db.execute("COMMIT")
    assert check(db, path, every_minute=True).ok
    after = {row[:2]: row for row in rows_of(db).rows}
    inside = [k for k in before if gone.wall0_us < (k[1] or 0) * MINUTE_US < gone.wall1_us - 2 * MINUTE_US]
    kept = [k for k in inside if after.get(k) == before[k]]
    assert len(inside) > 40 and (len(kept) >= len(inside) - 1 or table == "minute")
    newer = [k for k in before if (k[1] or 0) * MINUTE_US > gone.wall1_us + 2 * MINUTE_US]
    same = [k for k in newer if after.get(k) == before[k]]
    assert len(same) == len(newer) if table != "chunk" else len(same) > len(newer) / 2
    assert recorder._chunk_id > 60 - 10


def test_a_minute_under_two_scales_is_added_up_in_one_unit(tmp_path: Path) -> None:
    """100 counts at 0.01 and then at 0.02 mW/cm² a count: 30 s each, 30 and 60 mJ/cm²."""
    bench = Bench(tmp_path / "journal.sqlite3")
    bench.identities = []

    def with_scale(scale: float) -> Identity:
        return msgspec.structs.replace(ROOF, unit="counts", scale=scale)

    for scale, begin in ((0.01, 0), (0.02, 30)):
        bench.put([*bench.recorder.flush(), *bench.recorder.sensor(with_scale(scale))], 1)
        readings: list[tuple[str, int, Reading]] = [
            ("roof", k * S, MomentReading(100.0)) for k in range(begin, begin + 31)
        ]
        bench.recorder.keep_readings(readings)
    bench.put(bench.recorder.flush(), 1)
    [roof] = [m for m in light_minutes(Store(bench.db), WALL_US, WALL_US + MINUTE_US)]
    assert len(roof.start_us) == 1 and roof.dose == pytest.approx(90.0)
    assert roof.mean[0] == pytest.approx(1.5) and roof.strongest[0] == 2.0
