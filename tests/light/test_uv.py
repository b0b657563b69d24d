"""Clear-sky ultraviolet with its interval: against UVA that was measured on clear days, and part by part."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from support.payerne import day_w_m2

from uvdose.light.airmass import air_mass, zenith_of
from uvdose.light.bands import sensor_band
from uvdose.light.clearsky import STANDARD, Atmosphere
from uvdose.light.plane import HORIZONTAL, SHADE, TOWARD_SUN
from uvdose.light.sun import position
from uvdose.light.uv import UVA_NM, clear_uv

LATITUDE, LONGITUDE, HEIGHT_M = 46.815, 6.944, 491.0  # BSRN station Payerne


def _measured_and_model(day: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Air mass, measured UVA over the model, and the model's interval over itself, for the middle of each minute."""
    utc_s = datetime(2016, 6, day, tzinfo=UTC).timestamp() + 60.0 * np.arange(1440) + 30
    zenith = position(utc_s, LATITUDE, LONGITUDE, HEIGHT_M).apparent_zenith_deg
    up = zenith < 80
    clear = clear_uv(zenith[up], HORIZONTAL, UVA_NM, Atmosphere(height_m=HEIGHT_M), 161.0 + day - 9)
    measured = np.array(day_w_m2(day))[up]
    level = clear.irradiance_w_m2
    return air_mass(zenith[up]), measured / level, clear.low_w_m2 / level, clear.high_w_m2 / level


def test_measured_on_a_clear_day() -> None:
    """BSRN Payerne, 23 June 2016, which was clear: UVA within the 95 % interval up to air mass 3, and in step with the
    model, so that a scale told from one clear noon holds to 3 % up to air mass 2."""
    mass, share, low, high = _measured_and_model(23)
    near = mass < 3
    print(f"measured over model: {np.percentile(share[near], [0, 50, 100]).round(3)}")
    assert near.sum() > 500
    assert ((share >= low) & (share <= high))[near].mean() > 0.99
    noon = np.median(share[mass < 1.15])
    assert np.abs(share[mass < 2] / noon - 1).max() < 0.03
    assert np.quantile(np.abs(share[near] / noon - 1), 0.99) < 0.06


def test_the_three_days_that_the_interval_rests_on() -> None:
    """22 to 24 June 2016, within solar noon +-30 minutes: what MODEL_U is told from."""
    for day in (22, 23, 24):
        mass, share, low, high = _measured_and_model(day)
        noon = mass < 1.1
        assert 0.83 < np.median(share[noon]) < 0.91
        assert ((share > low) & (share < high))[noon].all()


def test_the_interval_holds_what_the_air_may_be() -> None:
    """Random airs with the stated spreads: the light lies within in at least 95 %, the model's own part left aside."""
    rng = np.random.default_rng(3)
    albedo = np.clip(rng.normal(0.2, 0.08, 2000), 0, 1)
    air = Atmosphere(rng.normal(320, 40, 2000), 0.1 * 2.0 ** rng.normal(0, 1, 2000), albedo)
    for mass in (1.2, 3.0):
        for plane in (HORIZONTAL, TOWARD_SUN):
            zenith = float(zenith_of(mass))
            stated = clear_uv(zenith, plane)
            drawn = clear_uv(np.full(2000, zenith), plane, atmosphere=air).irradiance_w_m2
            within = (drawn > stated.low_w_m2) & (drawn < stated.high_w_m2)
            assert within.mean() > 0.95


def test_bands_and_shade() -> None:
    zenith = zenith_of(np.array([1.2, 2.0]))
    all_uv, uva = clear_uv(zenith), clear_uv(zenith, band=UVA_NM)
    assert (uva.irradiance_w_m2 < all_uv.irradiance_w_m2).all()
    assert (uva.irradiance_w_m2 > 0.95 * all_uv.irradiance_w_m2).all()
    for name in ("wide", "middle", "near", "short"):
        seen = clear_uv(zenith, band=sensor_band(name))
        assert (seen.irradiance_w_m2 < all_uv.irradiance_w_m2).all() and (seen.irradiance_w_m2 > 0).all()
    shaded = clear_uv(zenith, SHADE)
    assert shaded.diffuse_fraction == pytest.approx([1.0, 1.0])
    assert shaded.irradiance_w_m2 == pytest.approx(all_uv.irradiance_w_m2 * all_uv.diffuse_fraction)


def test_night() -> None:
    dark = clear_uv(np.array([95.0, 120.0]))
    assert (dark.irradiance_w_m2 == 0).all() and (dark.high_w_m2 == 0).all() and (dark.diffuse_fraction == 0).all()


def test_uva_and_index_fall_differently() -> None:
    """From air mass 1 to 3 UVA falls 4.7 times, the erythemal light 14.6 times (computed with SPECTRL2)."""
    zenith = zenith_of(np.array([1.0, 3.0]))
    uva = clear_uv(zenith, band=UVA_NM, atmosphere=STANDARD).irradiance_w_m2
    skin = clear_uv(zenith, band=sensor_band("erythema"), atmosphere=STANDARD).irradiance_w_m2
    assert uva[0] / uva[1] == pytest.approx(4.7, abs=0.1)
    assert skin[0] / skin[1] == pytest.approx(14.6, abs=0.3)


def test_a_month_of_clouds() -> None:
    """BSRN Payerne, June 2016: the shares of a clear sky that the module names, against the clear noon of the 23rd."""
    _, clear, _, _ = _measured_and_model(23)
    shares = []
    for day in range(1, 31):
        mass, share, _, _ = _measured_and_model(day)
        shares.append(share[mass < 3])
    told = np.quantile(np.concatenate(shares) / np.median(clear), [0.05, 0.25, 0.75, 0.99])
    assert told == pytest.approx([0.17, 0.41, 0.99, 1.16], abs=0.03)


def test_thick_air_is_no_fault() -> None:
    thick = clear_uv(40.0, atmosphere=Atmosphere(990.0, 4.9, 1.0))
    assert 0 < float(thick.low_w_m2) < float(thick.irradiance_w_m2) < float(thick.high_w_m2)
