"""What a tipped sensor costs: the figures computed with SPECTRL2, closed forms, and a housing of its own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from uvdose.light.airmass import zenith_of
from uvdose.light.bands import flat_integral
from uvdose.light.clearsky import spectrum
from uvdose.light.level import Housing, Tip, _views, tipped
from uvdose.light.plane import HORIZONTAL, SHADE, TOWARD_SUN, Plane, on_plane


def worst_tip(air_mass: float, frame: Plane, tipped_deg: float) -> tuple[Tip, Tip]:
    """Of 24 directions in which a sensor may be tipped by so much: the one that reads least, and most."""
    tips = [tipped(air_mass, frame, tipped_deg, 15.0 * k) for k in range(24)]
    return min(tips, key=lambda t: t.over), max(tips, key=lambda t: t.over)


@pytest.mark.parametrize(
    ("mass", "direction", "over", "even_sky"),
    [(1.2, 0, 0.076, 0.059), (2.0, 0, 0.16, 0.12), (1.2, 180, -0.10, None), (2.0, 180, -0.18, None)],
)
def test_ten_degrees_on_a_horizontal_frame(mass: float, direction: float, over: float, even_sky: float | None) -> None:
    """Computed with SPECTRL2 and its circumsolar sky, and with an even one: toward the sun +7.6 % at air mass 1.2,
    +16 % at 2 (even sky 5.9 and 12 %); away -10 and -18 %."""
    found = tipped(mass, HORIZONTAL, 10.0, direction)
    assert found.over == pytest.approx(over, abs=0.003 if abs(over) < 0.1 else 0.006)
    assert found.stops == pytest.approx(math.log2(1 + found.over))
    if even_sky is not None:
        assert tipped(mass, HORIZONTAL, 10.0, direction, sky="isotropic").over == pytest.approx(even_sky, abs=0.003)


def test_ten_degrees_on_a_frame_that_faces_the_sun() -> None:
    """3.4 % at most, to either side, up to air mass 3 (computed with SPECTRL2)."""
    worst = max(abs(t.over) for mass in (1.0, 1.2, 1.5, 2.0, 3.0) for t in worst_tip(mass, TOWARD_SUN, 10.0))
    assert worst == pytest.approx(0.034, abs=0.001)


@pytest.mark.parametrize("mass", [1.2, 2.0, 4.0])
@pytest.mark.parametrize("by", [5.0, 20.0])
def test_tipped_is_what_a_tilted_plane_gets(mass: float, by: float) -> None:
    """A flat sensor tipped toward the sun stands as a plane of that tilt does."""
    zenith = float(zenith_of(mass))
    light = spectrum(zenith)
    level, tilted = (float(flat_integral(on_plane(light, p, zenith))) for p in (HORIZONTAL, Plane(by)))
    assert tipped(mass, HORIZONTAL, by).over == pytest.approx(tilted / level - 1, abs=5e-4)
    compass = tipped(mass, Plane(0.0, 90.0), by, sun_azimuth_deg=200.0)
    assert compass.over == pytest.approx(tilted / level - 1, abs=5e-4)


def test_worst_of_all_directions_is_toward_and_away() -> None:
    least, most = worst_tip(1.5, HORIZONTAL, 10.0)
    assert most == tipped(1.5, HORIZONTAL, 10.0, 0.0) and least == tipped(1.5, HORIZONTAL, 10.0, 180.0)
    assert abs(tipped(1.5, HORIZONTAL, 10.0, 90.0).over) < 0.02


def test_in_line_costs_nothing() -> None:
    for frame in (HORIZONTAL, TOWARD_SUN, SHADE, Plane(40.0)):
        assert tipped(1.5, frame, 0.0).over == pytest.approx(0.0, abs=1e-12)


def test_in_the_shade_tipping_costs_little() -> None:
    least, most = worst_tip(1.2, SHADE, 10.0)
    sunny_least, sunny_most = worst_tip(1.2, HORIZONTAL, 10.0)
    assert sunny_least.over < least.over and most.over < sunny_most.over + 0.03


def test_housings_from_data_sheets() -> None:
    """Half at 60 degrees off the axis is the cosine itself; 130 degrees in full width is half at 65; closed form."""
    assert Housing.from_half_angle(60.0).power == pytest.approx(1.0)
    for angle in (10.0, 65.0):
        power = Housing.from_half_angle(angle).power
        assert math.cos(math.radians(angle)) ** power == pytest.approx(0.5)
    for wrong in (0.0, 90.0, float("nan")):
        with pytest.raises(ValueError, match="half angle"):
            Housing.from_half_angle(wrong)
    for power in (-1.0, float("nan")):
        with pytest.raises(ValueError, match="housing"):
            Housing(power)


def test_a_narrow_housing_costs_more() -> None:
    """The narrower it sees, the more the beam decides; at 10 degrees to either side a tilt of 10 makes it useless."""
    housings = [Housing.from_half_angle(angle) for angle in (65.0, 60.0, 30.0, 10.0)]
    costs = [tipped(1.2, HORIZONTAL, 10.0, housing=housing).over for housing in housings]
    assert costs == sorted(costs) and costs[-1] > 1


def test_views_of_sky_and_ground() -> None:
    """Closed form: a housing of power n takes in 2 / (n + 1) of what a flat one does, of an even sky that it faces, and
    tilted as well where the ground is as bright as the sky; a flat one sees (1 + cos tilt) / 2 of the sky."""
    for power in (0.8, 1.0, 2.0, 10.0):
        sky, ground = _views(0.0, power)
        assert sky == pytest.approx(2 / (power + 1), rel=2e-3) and ground == 0.0
        assert sum(_views(55.0, power)) == pytest.approx(2 / (power + 1), rel=2e-3)
    for tilt in (10.0, 60.0, 90.0):
        assert _views(tilt, 1.0)[0] == pytest.approx((1 + math.cos(math.radians(tilt))) / 2, abs=1e-3)


def test_angles_out_of_range() -> None:
    for wrong in (-1.0, 91.0, float("nan")):
        with pytest.raises(ValueError, match="tipped"):
            tipped(1.2, HORIZONTAL, wrong)
    assert np.isfinite(tipped(1.2, HORIZONTAL, 90.0).over)
