"""How much air: the table of Kasten & Young, its inverse, pressure by height."""

from __future__ import annotations

import numpy as np
import pytest
from pvlib.atmosphere import alt2pres, get_relative_airmass

from uvdose.light.airmass import air_mass, pressure_hpa, zenith_of


@pytest.mark.parametrize(("zenith", "mass"), [(0, 0.9997), (60, 1.9943), (70, 2.9031), (80, 5.586), (85, 10.306)])
def test_table(zenith: float, mass: float) -> None:
    """Kasten & Young 1989, computed with pvlib, to 1e-3."""
    assert float(air_mass(zenith)) == pytest.approx(mass, rel=1e-3)


def test_all_zenith_angles() -> None:
    """pvlib's kastenyoung1989, 0 to 90 degrees."""
    zenith = np.linspace(0, 90, 181)
    assert air_mass(zenith) == pytest.approx(get_relative_airmass(zenith, "kastenyoung1989"), rel=1e-12)


def test_none_below_the_horizon() -> None:
    assert np.isnan(air_mass(90.01)) and not np.isnan(air_mass(90.0))


def test_the_inverse() -> None:
    mass = np.array([1.0, 1.2, 1.5, 2.0, 3.0, 10.0, 37.0])
    assert air_mass(zenith_of(mass)) == pytest.approx(mass, rel=4e-4)  # 1 itself is never reached: 0.9997 at 0
    assert float(zenith_of(0.5)) == 0.0
    for wrong in (40.0, float("nan")):
        with pytest.raises(ValueError, match="from 1"):
            zenith_of(wrong)


def test_pressure() -> None:
    """pvlib's alt2pres (standard atmosphere), to 0.1 %."""
    height = np.array([-400.0, 0.0, 500.0, 1830.0, 4000.0])
    assert pressure_hpa(height) == pytest.approx(alt2pres(height) / 100, rel=1e-3)
    for wrong in (12000.0, float("nan")):
        with pytest.raises(ValueError, match="height"):
            pressure_hpa(wrong)
