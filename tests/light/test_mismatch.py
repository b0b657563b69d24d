"""The factor between a sensor's dose and the emulsion's: the table, CIE's definition by pvlib, its interval."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from pvlib.spectrum import calc_spectral_mismatch_field, get_reference_spectra
from support.mismatched import mismatch

from uvdose.catalogue import AIR_MASSES, catalogue
from uvdose.light.airmass import zenith_of
from uvdose.light.bands import Band, Shape, emulsion_band, sensor_band, sensor_classes
from uvdose.light.clearsky import STANDARD, WAVELENGTHS_NM, Atmosphere, spectrum
from uvdose.light.mismatch import Light, between, falling, ratio
from uvdose.light.plane import HORIZONTAL, SHADE, TOWARD_SUN, Plane

# Per cent by which a print calibrated at air mass 1.2 is over-exposed at 1, 1.5, 2, 3, 4, 5. Computed with SPECTRL2;
# the response shapes are assumptions (as `bands.json` says).
TABLE = {
    ("wide", HORIZONTAL): (-2.5, 3.0, 6.3, 8.7, 9.0, 9.1),
    ("middle", HORIZONTAL): (-1.5, 1.8, 3.7, 5.2, 5.2, 5.0),
    ("near", HORIZONTAL): (-0.1, 0.2, 0.4, 0.3, -0.5, -1.5),
    ("short", HORIZONTAL): (-10, 14, 35, 67, 94, 120),
    ("wide", TOWARD_SUN): (-4.8, 6.7, 17, 35, 46, 52),
    ("middle", TOWARD_SUN): (-2.9, 4.0, 10, 20, 27, 31),
    ("near", TOWARD_SUN): (-0.3, 0.6, 1.9, 5.3, 8.7, 11),
    ("short", TOWARD_SUN): (-16, 25, 69, 157, 228, 268),
}
SHADED = {"wide": -15, "middle": -9, "near": -2.5}
FRAMED = emulsion_band("framed")


@pytest.mark.parametrize(("name", "plane"), TABLE, ids=str)
def test_table(name: str, plane: Plane) -> None:
    """The table above within 1.5 percentage points. Measured: 1.2 at worst."""
    for mass, expected in zip((1, 1.5, 2, 3, 4, 5), TABLE[name, plane], strict=True):
        found = mismatch(name, "framed", plane, 1.2, mass, atmosphere=STANDARD)
        assert 100 * (found.factor - 1) == pytest.approx(expected, abs=1.5)
        assert found.stops == pytest.approx(math.log2(found.factor))


@pytest.mark.parametrize("name", SHADED)
def test_shade(name: str) -> None:
    """In the shade, with the sun's disc alone hidden, at air mass 1.2: -15, -9, -2.5 % (computed with SPECTRL2), here
    within 2 points. The wall or tree that hides the sky around the sun too makes the interval reach far lower."""
    shaded = Plane(toward_sun=True, shade=True)
    found = mismatch(name, "framed", shaded, 1.2, 1.2, geometry_proved=TOWARD_SUN, atmosphere=STANDARD)
    assert 100 * (found.factor - 1) == pytest.approx(SHADED[name], abs=2.0)
    sensor = sensor_band(name)
    light = Light(shaded, 1.2)
    open_sky = ratio(sensor, FRAMED, falling(Light(TOWARD_SUN, 1.2)))
    without = float(ratio(sensor, FRAMED, falling(light, around_sun=False)) / open_sky)
    assert found.low < without < found.high
    # And back: proved in the shade, printed in the sun.
    back = mismatch(name, "framed", TOWARD_SUN, 1.2, 1.2, geometry_proved=shaded, atmosphere=STANDARD)
    assert back.factor * found.factor == pytest.approx(1)


def test_the_catalogue_tells_the_same() -> None:
    """What the catalogue prints of each band is what is computed here, within 1.5 points."""
    for name, band in catalogue().bands.items():
        for plane, told in ((HORIZONTAL, band.horizontal), (TOWARD_SUN, band.facing)):
            for mass, percent in zip(AIR_MASSES, told or (), strict=False):
                found = mismatch(name, "framed", plane, 1.2, mass, atmosphere=STANDARD)
                assert 100 * (found.factor - 1) == pytest.approx(percent, abs=1.5)


@pytest.mark.parametrize("plane", [HORIZONTAL, TOWARD_SUN, Plane(45.0), SHADE], ids=str)
def test_reciprocal_of_pvlib(plane: Plane) -> None:
    """pvlib's calc_spectral_mismatch_field is 1/F* of CIE e-ILV 17-25-115 for a flat reference. On the same grid, its
    value for the sensor over its value for the emulsion is our factor's reciprocal."""
    nm = np.arange(300, 450.01, 0.25)
    spectra = pd.DataFrame(
        [np.interp(nm, WAVELENGTHS_NM, falling(Light(plane, mass))) for mass in (1.2, 1.0, 2.0, 4.0)], columns=nm
    )
    flat = Band(Shape("flat", "all alike", ((299.0, 1.0), (451.0, 1.0)), 1.0, "for this test"))
    for name in sensor_classes():
        sensor = sensor_band(name)
        to_flat, of_emulsion = (
            calc_spectral_mismatch_field(pd.Series(band.response(nm), nm), spectra.iloc[1:], spectra.iloc[0])
            for band in (sensor, FRAMED)
        )
        for k, mass in enumerate((1.0, 2.0, 4.0)):
            proved, now = Light(plane, 1.2), Light(plane, mass)
            assert between(sensor, flat, proved, now, STANDARD).factor == pytest.approx(1 / to_flat.iloc[k], rel=1e-9)
            factor = between(sensor, FRAMED, proved, now, STANDARD).factor
            assert factor == pytest.approx(of_emulsion.iloc[k] / to_flat.iloc[k], rel=1e-9)


def test_nothing_changes_nothing() -> None:
    for name in sensor_classes():
        same = mismatch(name, "framed", HORIZONTAL, 1.7, 1.7)
        assert same.factor == 1 and same.stops == 0 and same.low < 1 < same.high
        known = mismatch(name, "framed", HORIZONTAL, 1.7, 1.7, atmosphere=STANDARD)
        assert (known.low, known.high) == (1, 1)


def test_there_and_back_is_one() -> None:
    there = mismatch("wide", "framed", TOWARD_SUN, 1.2, 2.5)
    back = mismatch("wide", "framed", TOWARD_SUN, 2.5, 1.2)
    assert there.factor * back.factor == pytest.approx(1)
    assert there.low * back.high == pytest.approx(1)


@pytest.mark.parametrize("name", ["wide", "middle", "short", "erythema"])
def test_a_sensor_under_the_same_glass_drifts_less(name: str) -> None:
    """The glass takes the short wavelengths from both; where the frame has none it changes nothing."""
    for plane in (HORIZONTAL, TOWARD_SUN):
        bare, under = (mismatch(name, "framed", plane, 1.2, 2.5, under_glass=glass) for glass in (False, True))
        assert 1 < under.factor < 1 + 0.85 * (bare.factor - 1)
        assert under.high / under.low < bare.high / bare.low
        nothing_over = [mismatch(name, "bare", plane, 1.2, 2.5, under_glass=glass) for glass in (False, True)]
        assert nothing_over[0] == nothing_over[1]


def test_a_tilted_frame_lies_between() -> None:
    """A frame tilted toward the sun by half its zenith angle: between the horizontal and the facing one."""
    half = Plane(30.0)
    level, between_them, facing = (
        mismatch("wide", "framed", plane, 1.2, 2.0, atmosphere=STANDARD).factor
        for plane in (HORIZONTAL, half, TOWARD_SUN)
    )
    assert level < between_them < facing
    turned = mismatch("wide", "framed", Plane(30.0, 180.0), 1.2, 2.0, atmosphere=STANDARD, sun_azimuths_deg=(180, 180))
    assert turned.factor == pytest.approx(between_them)
    with pytest.raises(ValueError, match="sun's azimuth"):
        mismatch("wide", "framed", Plane(30.0, 180.0), 1.2, 2.0)


@pytest.mark.parametrize("name", ["wide", "middle", "near", "short"])
def test_the_interval_holds_what_may_be(name: str) -> None:
    """1,000 random days with ozone and haze anywhere within the bounds at the proof and now, and shapes that are off:
    the true factor lies within in at least 95 %."""
    rng = np.random.default_rng(11)
    count, inside, tries = 250, 0, 0
    sensor = sensor_band(name)
    for mass in (1.0, 1.5, 2.0, 3.0):
        stated = mismatch(name, "framed", TOWARD_SUN, 1.2, mass)
        spectra = []
        for m in (1.2, mass):
            air = STANDARD.with_air(rng.uniform(250, 420, count), rng.uniform(0.03, 0.4, count))
            spectra.append(falling(Light(TOWARD_SUN, m), air))
        for k in range(count):
            edges = rng.normal(0, (sensor.shape.edge_u_nm, FRAMED.shape.edge_u_nm, 4.0)).round(0)
            shifts = (float(edges[0]), float(edges[1]), float(edges[2]))
            then, here = (float(ratio(sensor, FRAMED, s[k], shifts)) for s in spectra)
            inside += stated.low <= here / then <= stated.high
            tries += 1
    assert inside / tries > 0.95


def test_the_model_s_colour_against_the_standard_s() -> None:
    """From ASTM G173's global to its direct light the ratio of the bands changes by 0.7 to 1.3 of what the model says
    (in stops); that is what the part "model" rests on, two standard uncertainties of a fifth."""
    reference = get_reference_spectra(standard="ASTM G173-03")
    nm = reference.index.to_numpy(dtype=float)
    uv = (nm >= 280) & (nm <= 450)
    mass, air = 1.5, Atmosphere(343.8, 0.084, 0.05)
    for name in ("wide", "middle", "near", "short", "erythema"):
        sensor = sensor_band(name)
        theirs = []
        for column in ("direct", "global"):
            spectral = reference[column].to_numpy()[uv]
            theirs.append(
                np.trapezoid(spectral * FRAMED.response(nm[uv]), nm[uv])
                / np.trapezoid(spectral * sensor.response(nm[uv]), nm[uv])
            )
        tilted = falling(Light(Plane(37.0), mass), air)
        direct = spectrum(float(zenith_of(mass)), air).direct
        ours = math.log(float(ratio(sensor, FRAMED, direct) / ratio(sensor, FRAMED, tilted)))
        change = math.log(float(theirs[0]) / float(theirs[1])) / ours
        print(name, round(change, 2))
        assert 0.6 < change < 1.4


def test_far_down_it_stays_where_it_was() -> None:
    assert mismatch("wide", "framed", HORIZONTAL, 1.2, 30.0) == mismatch("wide", "framed", HORIZONTAL, 1.2, 10.0)
