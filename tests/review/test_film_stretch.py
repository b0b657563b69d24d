"""A stretch of raw readings as film is measured by it: the mean of what was seen, and nothing where it was too much."""

from __future__ import annotations

import pytest

from uvdose.cli.films import _stretch
from uvdose.model import MomentReading, Refusal, RegisterReading
from uvdose.review.raw import Run

from .conftest import SENSORS, Bindery, identity_of


def test_the_mean_of_a_stretch_and_none_of_a_saturated_one(bindery: Bindery) -> None:
    spans = []
    for counts in (400, 1023):
        begin_us = bindery.clock.wall_us()
        bindery.light(20, counts)
        spans.append((begin_us, bindery.clock.wall_us()))
    assert _stretch(bindery.store, "sill", *spans[0]).mean == pytest.approx(400 * 0.0125)
    with pytest.raises(Refusal, match="saturated"):
        _stretch(bindery.store, "sill", *spans[1])


def test_saturated_for_a_part_of_a_line() -> None:
    def run(boot: int, sat_ms: int) -> Run:
        readings = [RegisterReading(7, 1, 1000, 900_000, 900_000, 0, 0, 0),
                    RegisterReading(boot, 2, 2000, 900_000, 1_800_000, sat_ms, 0, 0)]  # fmt: skip
        return Run(identity_of(SENSORS[0]), [(0, 0, r) for r in readings])

    assert run(7, 40).saturated
    assert not run(7, 0).saturated and not run(8, 40).saturated
    unbounded = Run(identity_of(SENSORS[1]), [(0, 0, MomentReading(1e9))])
    assert not unbounded.saturated
