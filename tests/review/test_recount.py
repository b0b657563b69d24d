"""A recount gives the same figures from raw readings alone, and sees when they were changed."""

from __future__ import annotations

import msgspec
import pytest

from uvdose.exposure.states import Act
from uvdose.journal.pack import pack, unpack
from uvdose.model import MomentReading, Refusal, RegisterReading
from uvdose.review import recorded
from uvdose.review.byclock import by_clock
from uvdose.review.gather import gather
from uvdose.review.recorded import Stretch
from uvdose.review.recount import recount

from .conftest import BLUE


def test_the_same_bit_for_bit(printed) -> None:
    printed.act(2, Act.FINISH)
    printed.light(1, 400, 1.0)
    for number in (1, 2):
        kept = printed.store.exposure(number).document
        counted = recount(printed.store, number)
        assert counted.same and counted.note == "" and counted.readings > 30
        assert (counted.dose, counted.dose_low, counted.dose_high) == (kept.dose, kept.dose_low, kept.dose_high)
    assert recount(printed.store, 2).bridged_s == 21


@pytest.mark.parametrize("sensor", ["sill", "roof"])
def test_a_tampered_chunk_is_detected(printed, sensor: str) -> None:
    """One reading is changed: a momentary value by some of its last bits; a register so far that it no longer rises.

    A smaller change of a register between two marks changes no dose: the dose is the difference at the marks.
    """
    number = {"sill": 1, "roof": 2}[sensor]
    printed.act(2, Act.FINISH)
    printed.light(1, 400, 1.0)
    exposure = printed.store.exposure(number)
    begin_us = exposure.plan.begin_us
    rows = printed.db.execute(
        "SELECT c.id, c.kind, c.data FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ? AND c.t1_us > ?"
        " AND c.t0_us <= ? ORDER BY c.id",
        (sensor, begin_us, begin_us),
    ).fetchall()
    chunk, kind, data = rows[0]
    readings = unpack(kind, data)
    at = next(i for i, (t, _) in enumerate(readings) if t > begin_us)
    if sensor == "sill":
        t_us, line = readings[at]
        assert isinstance(line, RegisterReading)
        readings[at] = (t_us, msgspec.structs.replace(line, register=line.register + 700_000))
    else:
        t_us, reading = readings[at]
        assert isinstance(reading, MomentReading)
        readings[at] = (t_us, MomentReading(reading.value + 1e-12, None, reading.seq))
    printed.db.execute("UPDATE chunk SET data = ? WHERE id = ?", (pack(readings), chunk))
    counted = recount(printed.store, number)
    assert not counted.same and counted.kept_dose == exposure.document.dose != counted.dose
    assert "one of the two was changed" in counted.note


def test_readings_that_are_gone_or_damaged(printed) -> None:
    printed.db.execute("UPDATE chunk SET data = x'78' WHERE kind = 1")
    with pytest.raises(Refusal, match="exposure 1: its raw readings cannot be read"):
        recount(printed.store, 1)
    printed.db.execute("DELETE FROM chunk")
    with pytest.raises(Refusal, match="no longer in the journal"):
        recount(printed.store, 1)


@pytest.mark.parametrize("sensor", ["sill", "roof"])
def test_a_beat_between_two_readings_loses_no_light(bindery, sensor: str) -> None:
    """The reading after the beat may come before anything else has woken the bench: its light is the print's too."""
    bindery.light(10, 400, 1.0)
    unit = bindery.bench.channels[sensor].track.response.unit
    target = msgspec.structs.replace(BLUE, dose=9000.0, unit=unit)
    number = bindery.start(target, sensor, "1", count_in_s=2.25)
    bindery.light(10, 400, 1.0)
    bindery.act(number, Act.FINISH)
    bindery.light(2, 400, 1.0)
    kept = bindery.store.exposure(number).document
    assert kept.settled and kept.measured_s == 7.75
    assert kept.dose == pytest.approx(7.75 * (5 if sensor == "sill" else 1), rel=1e-6)
    assert recount(bindery.store, number).same


def test_one_that_still_takes_light_is_refused(printed) -> None:
    with pytest.raises(Refusal, match="exposure 2 is counting"):
        recount(printed.store, 2)
    with pytest.raises(Refusal, match="no exposure 3"):
        recount(printed.store, 3)


def test_what_a_clock_would_have_done(printed) -> None:
    """400 mJ/cm² at 5 mW/cm² take a clock 80 s; those gave 20 x 5 + 40 x 2.5 + 20 x 5 = 300; by dose it took 100 s."""
    clock = gather(printed.store, "2026-06-21").prints[0].clock
    assert clock is not None and clock.clear == pytest.approx(5)
    assert clock.clock_s == pytest.approx(80) and clock.dose == pytest.approx(300)
    assert clock.needed_s == pytest.approx(100)


def test_a_clock_goes_on_after_a_print_was_taken_in_and_not_after_the_last_reading(printed) -> None:
    """2 mW/cm² asks 200 s. The print lay 118 s and got 490; 82 s later than its end nothing was read any more."""
    fern = gather(printed.store, "2026-06-21").prints[0]
    shift_us = printed.store.exposure(1).plan.begin_us - fern.in_light[0].start_us
    windows = [Stretch(s.start_us + shift_us, s.stop_us + shift_us) for s in fern.in_light]
    sill, _ = recorded.read(printed.store, 0, 1 << 60)
    assert by_clock(sill, windows, 400.0, 2.0) is None
    clock = by_clock(sill, windows, 400.0, 400 / 128)
    assert clock is not None and clock.dose == pytest.approx(490 + 10 * 5)
