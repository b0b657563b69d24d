"""Shapes of sensors and emulsions: what is stated of them, and integrals over them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import uvdose
from uvdose.catalogue import catalogue
from uvdose.light.bands import (
    emulsion_band,
    emulsions,
    erythema_weight,
    flat_integral,
    sensor_band,
    sensor_classes,
    table,
)
from uvdose.light.clearsky import WAVELENGTHS_NM, spectrum

every = pytest.mark.parametrize("name", [*sensor_classes(), *emulsions()])


@every
def test_an_integral_is_what_fine_steps_make_of_it(name: str) -> None:
    """Straight lines between the model's wavelengths times the shape, in steps of 0.05 nm, for two shifts."""
    band = sensor_band(name) if name in sensor_classes() else emulsion_band(name)
    light = spectrum(40.0).direct
    nm = np.arange(300, 450.01, 0.05)
    fine = np.interp(nm, WAVELENGTHS_NM, light)
    for shift in (0.0, 5.0):
        slow = np.trapezoid(fine * band.response(nm, shift, shift), nm)
        assert float(band.integral(light, shift, shift)) == pytest.approx(float(slow), rel=3e-3)


def test_erythema_weight() -> None:
    """ISO/CIE 17166:2019 as printed in public regulations; continuous at 328 nm."""
    printed = {298: 1.0, 300: 0.65, 310: 0.074, 320: 0.0086, 330: 0.0014, 340: 0.0010, 360: 0.00050, 380: 0.00025,
               400: 0.00013}  # fmt: skip
    for nm, weight in printed.items():
        assert float(erythema_weight(nm)) == pytest.approx(weight, rel=0.04)
    assert float(erythema_weight(328.0)) == pytest.approx(float(erythema_weight(328.001)), rel=0.01)
    assert float(erythema_weight(250.0)) == 1.0 and float(erythema_weight(401.0)) == 0.0


def test_the_emulsion_is_flat_to_390_and_half_at_405() -> None:
    bare = emulsion_band("bare")
    assert bare.response(np.array([300.0, 390.0, 405.0, 430.0])) == pytest.approx([1, 1, 0.5, 0])


def test_glass_and_film() -> None:
    """Window glass passes 75 to 85 % of UVA and about 3 % of UVB (common practice); film takes its own share, and
    under a high sun nearly all UVB lies above 305 nm."""
    light = spectrum(33.6).direct
    nm = np.arange(300, 400.01, 0.05)
    fine = np.interp(nm, WAVELENGTHS_NM, light)
    cover = emulsion_band("framed").response(nm) / emulsion_band("bare").response(nm)
    uva, uvb = nm >= 315, nm < 315
    assert 0.75 < np.trapezoid((fine * cover)[uva], nm[uva]) / np.trapezoid(fine[uva], nm[uva]) < 0.85
    assert np.trapezoid((fine * cover)[uvb], nm[uvb]) / np.trapezoid(fine[uvb], nm[uvb]) < 0.2


def test_every_band_of_the_catalogue_has_a_class_of_its_name() -> None:
    """A part's band is the name of its class here; what sees no ultraviolet has none."""
    assert set(catalogue().bands) - {"none"} == set(sensor_classes()) - {"erythema"}


@every
def test_shapes_are_sound(name: str) -> None:
    shape = (sensor_band(name) if name in sensor_classes() else emulsion_band(name)).shape
    assert len(shape.source) > 5 and shape.edge_u_nm > 0
    if shape.knots is not None:
        nm = [k[0] for k in shape.knots]
        assert nm == sorted(set(nm)) and max(k[1] for k in shape.knots) == 1.0 and min(k[1] for k in shape.knots) >= 0


def test_flat_bands_and_unknown_names() -> None:
    light = spectrum(40.0).direct
    assert float(flat_integral(light, 300, 350) + flat_integral(light, 350, 400)) == pytest.approx(
        float(flat_integral(light, 300, 400)), rel=1e-4
    )
    for low, high in ((280, 400), (400, 300), (300, 460)):
        with pytest.raises(ValueError, match="300 to 450"):
            flat_integral(light, low, high)
    with pytest.raises(ValueError, match="wide, middle, near, short, erythema"):
        sensor_band("blue")
    with pytest.raises(ValueError, match="bare, framed"):
        emulsion_band("wide")


def test_the_table_travels_with_the_package() -> None:
    assert (Path(uvdose.__file__).parent / "light" / "bands.json").is_file()
    assert "assumptions" in table().standing
