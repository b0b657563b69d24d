"""Pruning takes old readings out, and leaves every print to be counted again, bit for bit."""

from __future__ import annotations

import msgspec
import pytest

from uvdose.exposure.states import Act
from uvdose.journal.checkup import check
from uvdose.journal.minutes import minutes_between
from uvdose.journal.prune import NEWEST_CHUNKS, prune, pruned
from uvdose.journal.summing import catch_up
from uvdose.model import Refusal
from uvdose.review.recount import recount
from uvdose.service.mending import Mender

from .conftest import BLUE, Bindery

HOUR = 3600


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Bindery:
    """Four prints in two rounds, an hour apart, and a fifth in the light. Shared; only the last test changes it."""
    bindery = Bindery(tmp_path_factory.mktemp("long") / "journal.sqlite3")
    plain = msgspec.structs.replace(BLUE, name="brown", version=1, dose=6000.0, unit="V.s")
    bindery.light(HOUR, 400, 1.0)
    for seconds in (700, 90):
        one = bindery.start(BLUE, "sill", "north")
        two = bindery.start(plain, "roof", "south")
        bindery.light(seconds, 300, 0.7)
        bindery.act(one, Act.HOLD)
        bindery.light(33, 300, 0.7)
        bindery.act(one, Act.RESUME)
        bindery.light(50, 300, 0.7)
        for number in (one, two):
            bindery.act(number, Act.FINISH)
        bindery.light(HOUR, 400, 1.0)
    bindery.start(BLUE, "sill", "north")
    bindery.light(60, 400, 1.0)
    return bindery


def test_what_is_newer_than_the_day_stays(long: Bindery) -> None:
    begin_us = long.clock.wall_us() - 2 * HOUR * 1_000_000
    done = prune(long.db, begin_us, dry_run=True)
    assert done.readings_deleted > 0
    assert all(s.wall1_us < begin_us for s in done.stretches)


def test_the_newest_readings_of_a_sensor_stay_whatever_is_asked(bindery: Bindery) -> None:
    bindery.light(HOUR, 400, 1.0)
    last = bindery.store.last_times()
    prune(bindery.db, bindery.clock.wall_us() + 1, dry_run=False)
    assert bindery.store.last_times() == last
    for sensor in (1, 2):
        rows = bindery.db.execute("SELECT count(*) FROM chunk WHERE sensor = ?", (sensor,)).fetchone()
        assert rows[0] == NEWEST_CHUNKS


def test_a_print_whose_readings_are_gone_is_refused_with_the_reason(long: Bindery) -> None:
    long.db.execute("BEGIN")
    long.db.execute("DELETE FROM chunk")
    with pytest.raises(Refusal, match="no longer in the journal"):
        recount(long.store, 1)
    long.db.execute("ROLLBACK")


def test_only_what_no_print_is_counted_from_goes(long: Bindery) -> None:
    counted = {n: recount(long.store, n) for n in (1, 2, 3, 4)}
    assert all(c.same for c in counted.values())
    light = minutes_between(long.db, 0, 1 << 60)  # from raw
    catch_up(long.db)
    long.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert minutes_between(long.db, 0, 1 << 60) == light
    size = long.path.stat().st_size
    total = long.db.execute("SELECT sum(n) FROM chunk").fetchone()[0]
    told = prune(long.db, long.clock.wall_us(), dry_run=True)
    assert long.db.execute("SELECT sum(n) FROM chunk").fetchone()[0] == total and told.dry_run
    done = prune(long.db, long.clock.wall_us(), dry_run=False)
    assert done.readings_deleted == told.readings_deleted > total / 6
    left = long.db.execute("SELECT sum(n) FROM chunk").fetchone()[0]
    assert (left, total - left) == (done.readings_kept, done.readings_deleted)
    assert long.path.stat().st_size < size and done.bytes_after == long.path.stat().st_size
    assert {n: recount(long.store, n) for n in counted} == counted
    assert minutes_between(long.db, 0, 1 << 60) == light, "the minutes stay"
    found = check(long.db, long.path)
    assert 0 < found.minutes_proved < found.minutes
    assert found.ok and found.pruned == pruned(long.db) == done.stretches
    assert sum(p.readings for p in done.stretches) == done.readings_deleted
    # Again, with nothing left to take; and the bench goes on.
    assert prune(long.db, long.clock.wall_us(), dry_run=False).readings_deleted == 0
    long.light(20, 400, 1.0)
    long.act(5, Act.FINISH)
    long.light(2, 400, 1.0)
    assert recount(long.store, 5).same


def test_no_print_begins_where_readings_were_taken_out(bindery: Bindery) -> None:
    """Readings of an older print stay, so that something was read before: what fell since would silently be a hole."""
    bindery.light(60, 400, 1.0)
    number = bindery.start(BLUE, "sill", "north")
    bindery.light(60, 400, 1.0)
    bindery.act(number, Act.FINISH)
    bindery.light(3 * HOUR, 400, 1.0)
    now_us = bindery.clock.dose_us()
    (stretch,) = [s for s in prune(bindery.db, bindery.clock.wall_us(), dry_run=False).stretches if s.sensor == "sill"]
    mender = Mender(None, bindery.store)  # type: ignore[arg-type]
    for t_us in (stretch.t0_us - 1_000_000, stretch.t0_us, stretch.t1_us - 60_000_000):
        with pytest.raises(Refusal, match="pruned; give a later time"):
            mender.refuse_unread("sill", t_us, now_us)
    mender.refuse_unread("sill", stretch.t1_us + 2_000_000, now_us)
    with pytest.raises(Refusal, match="had said nothing by then"):
        mender.refuse_unread("sill", 0, now_us)
