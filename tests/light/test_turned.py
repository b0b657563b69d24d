"""How far a sensor leans, from turning it: against the figures of a tipped sensor, and over many simulated turns."""

from __future__ import annotations

import math
import random

import pytest

from uvdose.light.level import Housing, tipped
from uvdose.light.plane import HORIZONTAL, TOWARD_SUN, Plane
from uvdose.light.turned import Stretch, lean

QUIET = 1e-6


def test_ten_degrees_by_the_figures_of_a_tipped_sensor() -> None:
    """Computed with SPECTRL2 (check values): ten degrees toward the sun +7.6 % at air mass 1.2, +16 % at 2; away -10
    and -18 %. Within half a degree, which is what their rounding leaves."""
    for mass, toward, away in ((1.2, 1.076, 0.90), (2.0, 1.16, 0.82)):
        found = lean(Stretch(toward, QUIET), Stretch(away, QUIET), Stretch(toward, QUIET), mass, HORIZONTAL)
        assert found.degrees == pytest.approx(10.0, abs=0.5) and found.steady
        assert found.over == pytest.approx(toward - 1, abs=0.01)
        back = lean(Stretch(away, QUIET), Stretch(toward, QUIET), Stretch(away, QUIET), mass, HORIZONTAL)
        assert back.degrees == pytest.approx(-10.0, abs=0.5) and back.over == pytest.approx(away - 1, abs=0.01)


@pytest.mark.parametrize("degrees", [-20.0, -3.0, 0.0, 1.0, 12.0])
@pytest.mark.parametrize(("frame", "azimuth"), [(HORIZONTAL, None), (Plane(20.0, 180.0), 180.0)], ids=str)
def test_a_lean_is_found_again_under_a_sky_that_changes_evenly(
    degrees: float, frame: Plane, azimuth: float | None
) -> None:
    housing = Housing.from_half_angle(65.0)

    def reading(at: float) -> float:
        return 1 + tipped(1.8, frame, abs(at), 0.0 if at >= 0 else 180.0, housing=housing, sun_azimuth_deg=azimuth).over

    parts = (reading(degrees), reading(-degrees) * 1.01, reading(degrees) * 1.01**2)
    found = lean(*(Stretch(p, QUIET) for p in parts), 1.8, frame, housing=housing, sun_azimuth_deg=azimuth)
    assert found.degrees == pytest.approx(degrees, abs=0.01) and found.low <= degrees <= found.high
    assert found.sky == pytest.approx(1.01**2 - 1) and found.steady
    assert found.over == pytest.approx(reading(degrees) - 1, abs=1e-3)


def test_the_interval_holds_the_lean_of_noisy_turns() -> None:
    """95 % is stated: 400 seeded turns with noise of 0.3 % in each mean."""
    rng, held, turns = random.Random(5), 0, 400
    clean = [1 + tipped(1.5, HORIZONTAL, 4.0, way).over for way in (0.0, 180.0)]
    for _ in range(turns):
        a, b, c = (clean[i] * (1 + rng.gauss(0, 0.003)) for i in (0, 1, 0))
        found = lean(Stretch(a, 0.003 * clean[0]), Stretch(b, 0.003 * clean[1]), Stretch(c, 0.003 * clean[0]),
                     1.5, HORIZONTAL)  # fmt: skip
        held += found.low <= 4.0 <= found.high
    assert 0.92 <= held / turns <= 0.995


def test_a_sky_that_moved_is_told() -> None:
    found = lean(Stretch(1.0, QUIET), Stretch(0.9, QUIET), Stretch(1.05, QUIET), 1.5, HORIZONTAL)
    assert not found.steady and found.sky == pytest.approx(0.05)
    assert found.high - found.low > 1.0


def test_what_a_turn_cannot_tell() -> None:
    even = Stretch(1.0, QUIET)
    with pytest.raises(ValueError, match="faces the sun"):
        lean(even, even, even, 1.5, TOWARD_SUN)
    with pytest.raises(ValueError, match="too little light"):
        lean(even, Stretch(0.0, QUIET), even, 1.5, HORIZONTAL)
    with pytest.raises(ValueError, match="something else"):
        lean(even, Stretch(0.05, QUIET), even, 1.5, HORIZONTAL)
    assert math.isfinite(lean(even, even, even, 3.0, HORIZONTAL).degrees)
