"""Prints imagined on a bench's own readings: refusals, holes, and the figures of a print that was.

Light is invented; the doses are exact sums of steady light.
"""

from __future__ import annotations

import msgspec
import pytest

from uvdose.dose.response import identity_of
from uvdose.exposure.states import Act
from uvdose.model import Refusal
from uvdose.review.labels import Labels
from uvdose.review.suppose import Imagined, bed_of, imagine

from .conftest import BLUE, NOON_US, SENSORS, Bindery

S_US = 1_000_000
BOUND = msgspec.structs.replace(BLUE, identity=identity_of(SENSORS[0]))


def begun(bindery: Bindery, *at_s: float, clock_s: float | None = None, target=BLUE, sensor="sill", override=False):
    """Imagined at seconds after the first reading's second."""
    bed = bed_of(bindery.store, target, sensor)
    day = Labels(bindery.store, bed.sensor, NOON_US - 3600 * S_US, NOON_US + 7200 * S_US, bed.zero_at)
    clock_us = round(clock_s * S_US) if clock_s is not None else None
    begins = [NOON_US + round(s * S_US) for s in at_s]
    return imagine(bindery.store, target, bed, day, begins, clock_us, override)


def test_steady_light(bindery: Bindery) -> None:
    """5 mW/cm² for 400 mJ/cm²: 80 s, whenever it is begun; 30 s give 150."""
    bindery.light(300, 400)
    found = begun(bindery, 1, 17.25, 100.5, 200, clock_s=30)
    assert len(found) == 4
    for one in found:
        assert one.known and one.needed_s == pytest.approx(80, abs=1e-3)
        assert one.clock_dose == pytest.approx(150) and one.share(BLUE) == pytest.approx(0.375)
        assert one.stops(BLUE) == pytest.approx(-1.415, abs=1e-3)  # log2(0.375)
        assert one.reached_us == one.begin_us + round(one.needed_s * S_US)


def test_what_the_day_did_not_bring(bindery: Bindery) -> None:
    bindery.light(100, 400)
    (one,) = begun(bindery, 60)
    assert one.needed_s is None and one.dose == pytest.approx(200) and one.reached_us is None


def test_night_adds_nothing(bindery: Bindery) -> None:
    """A zero that is a little off must not bring a print to its target while it is dark: a day ends with its light."""
    bindery.light(60, 400)
    bindery.light(3600, 1)  # 0.0125 mW/cm² of dark: 45 mJ/cm² by the end of the hour
    (one,) = begun(bindery, 10)
    assert one.needed_s is None and one.dose == pytest.approx(250)


def test_a_start_that_nobody_knows(bindery: Bindery) -> None:
    """Before the first reading, and where the sensor of momentary values was silent for long."""
    bindery.light(100, 400, 1.0)
    bindery.light(90, 400, silent=True)
    bindery.light(100, 400, 1.0)
    target = msgspec.structs.replace(BLUE, dose=60.0, unit="V.s")
    unknown = Imagined(NOON_US - 5 * S_US)
    assert begun(bindery, -5, target=target, sensor="roof") == [unknown]
    known = [one.known for one in begun(bindery, 50, 120, 150, 200, target=target, sensor="roof")]
    assert known == [True, False, False, True]
    # One begun before the silence: by the rule of the target call it is reached on the estimate, and that is told.
    (over,) = begun(bindery, 80, target=target, sensor="roof")
    assert over.needed_s == pytest.approx(60, abs=1e-3) and over.missing_s == pytest.approx(91)


def test_as_the_print_that_was(bindery: Bindery) -> None:
    """A print that was begun and finished on the beat of a line got what is imagined for that time."""
    bindery.light(30, 400)
    number = bindery.start(BLUE, "sill", "north")
    begin_s = (bindery.clock.wall_us() - NOON_US) / S_US
    bindery.light(25, 700)
    bindery.light(33, 120)
    bindery.act(number, Act.FINISH)
    end_s = (bindery.clock.wall_us() - NOON_US) / S_US
    bindery.light(30, 400)
    (one,) = begun(bindery, begin_s, clock_s=end_s - begin_s)
    assert one.clock_dose == bindery.store.exposure(number).document.dose


def test_a_target_is_bound_to_its_sensor(bindery: Bindery) -> None:
    bindery.light(200, 400, 1.0)
    assert begun(bindery, 10, target=BOUND)[0].known
    other = msgspec.structs.replace(BOUND, identity=msgspec.structs.replace(BOUND.identity, mount="roof"))
    with pytest.raises(Refusal, match=r"another sensor setting.*--override"):
        begun(bindery, 10, target=other)
    assert begun(bindery, 10, target=other, override=True)[0].known
    with pytest.raises(Refusal, match="measures"):  # what nothing overrides
        begun(bindery, 10, target=BOUND, sensor="roof", override=True)
    with pytest.raises(Refusal, match="retired"):
        begun(bindery, 10, target=msgspec.structs.replace(BLUE, retired=True), override=True)
    assert bed_of(bindery.store, BOUND, None).sensor == "sill"
    with pytest.raises(Refusal, match=r"--sensor.*roof, sill"):
        bed_of(bindery.store, BLUE, None)
