"""The clear sky's spectrum: equal to pvlib's SPECTRL2 wherever it is asked, near ASTM G173, and as the table says."""

from __future__ import annotations

import numpy as np
import pytest
from pvlib.spectrum import get_reference_spectra, spectrl2

from uvdose.light.airmass import air_mass, pressure_hpa, zenith_of
from uvdose.light.bands import flat_integral
from uvdose.light.clearsky import STANDARD, WAVELENGTHS_NM, Atmosphere, spectrum
from uvdose.light.plane import HORIZONTAL, SHADE, TOWARD_SUN, Plane, cos_incidence, on_plane, parts_on_plane

MASSES = np.array([1.0, 1.2, 1.5, 2.0, 3.0, 5.0])
# SPECTRL2 (Bird & Riordan 1986), day 172, ozone 0.32, AOD 0.1, albedo 0.2, 1013 hPa, computed with pvlib. W/m².
LEVEL = np.array([61.8, 48.1, 35.1, 23.2, 12.95, 6.53])
FACING = np.array([61.8, 55.3, 46.5, 34.9, 20.3, 8.02])
DIFFUSE = np.array([0.35, 0.40, 0.47, 0.57, 0.74, 0.91])


def _random(count: int) -> tuple[np.ndarray, Atmosphere, np.ndarray]:
    rng = np.random.default_rng(7)
    air = Atmosphere(rng.uniform(200, 450, count), rng.uniform(0.02, 0.6, count), rng.uniform(0, 0.8, count),
                     rng.uniform(0, 4000, count))  # fmt: skip
    return rng.uniform(0, 88, count), air, rng.integers(1, 366, count).astype(float)


@pytest.mark.parametrize("plane", [HORIZONTAL, TOWARD_SUN, Plane(30.0), Plane(75.0)], ids=str)
def test_equal_to_pvlib(plane: Plane) -> None:
    """pvlib 0.11.2's spectrl2, direct, diffuse and all on the plane, in 500 random airs and sun heights."""
    zenith, air, day = _random(500)
    light = spectrum(zenith, air, day)
    tilt = zenith if plane.toward_sun else np.full_like(zenith, plane.tilt_deg)
    incidence = np.abs(zenith - tilt)
    theirs = spectrl2(
        zenith, incidence, tilt, air.albedo, pressure_hpa(air.height_m) * 100, air_mass(zenith), 1.4,
        np.asarray(air.ozone_du) / 1000, air.aerosol_500, day,
    )  # fmt: skip
    uv = slice(0, len(WAVELENGTHS_NM))
    assert theirs["wavelength"][uv] == pytest.approx(WAVELENGTHS_NM)
    assert light.direct == pytest.approx(theirs["dni"][uv].T, rel=1e-10)
    assert light.diffuse == pytest.approx(theirs["dhi"][uv].T, rel=1e-10)
    assert on_plane(light, plane, zenith) == pytest.approx(theirs["poa_global"][uv].T, rel=1e-10)


def test_table_horizontal_and_facing() -> None:
    """The table above, within 1 % (asked: 2 %)."""
    zenith = zenith_of(MASSES)
    light = spectrum(zenith)
    level = flat_integral(on_plane(light, HORIZONTAL, zenith))
    assert level == pytest.approx(LEVEL, rel=0.01)
    assert flat_integral(on_plane(light, TOWARD_SUN, zenith)) == pytest.approx(FACING, rel=0.01)
    assert flat_integral(light.diffuse) / level == pytest.approx(DIFFUSE, abs=0.006)


def test_a_power_of_the_cosine_comes_near() -> None:
    """E = 61.95 cos(z)^1.4017 within 1.5 % to 75 degrees (fitted to SPECTRL2)."""
    zenith = np.linspace(0, 75, 76)
    level = flat_integral(on_plane(spectrum(zenith), HORIZONTAL, zenith))
    assert level == pytest.approx(61.95 * np.cos(np.radians(zenith)) ** 1.4017, rel=0.016)


def test_reference_spectra() -> None:
    """ASTM G173-03 as pvlib carries it: global 46.103 and 45.420 W/m² (280-400, 315-400 nm), direct 30.520 and
    30.149, to 0.1 %. The model at the conditions of the standard lies within 5.5 % of it (1 % over dark ground), and
    within 8 % in its colour, since it has one value in 5 to 10 nm where the sun has many lines."""
    reference = get_reference_spectra(standard="ASTM G173-03")
    nm = reference.index.to_numpy(dtype=float)

    def tabulated(column: str, low: float, high: float) -> float:
        within = (nm >= low) & (nm <= high)
        return float(np.trapezoid(reference[column].to_numpy()[within], nm[within]))

    for column, low, expected in (
        ("global", 280, 46.103), ("global", 315, 45.420), ("direct", 280, 30.520), ("direct", 315, 30.149),
    ):  # fmt: skip
        assert tabulated(column, low, 400) == pytest.approx(expected, rel=1e-3)
    # The standard's conditions: air mass 1.5, tilt 37 degrees, ozone 343.8 DU, AOD 0.084, ground of light sandy soil.
    zenith = 48.19
    for albedo in (0.05, 0.2):
        light = spectrum(zenith, Atmosphere(343.8, 0.084, albedo), 93.0)
        ours = {"direct": light.direct, "global": on_plane(light, Plane(37.0), zenith)}
        for column, spectral in ours.items():
            assert float(flat_integral(spectral, 315)) == pytest.approx(tabulated(column, 315, 400), rel=0.055)
            short = float(flat_integral(spectral, 320, 350) / flat_integral(spectral, 350, 400))
            theirs = tabulated(column, 320, 350) / tabulated(column, 350, 400)
            assert short == pytest.approx(theirs, rel=0.08)


def test_height_ozone_haze_and_ground_act_the_right_way() -> None:
    def level(air: Atmosphere, low: float = 300.0, high: float = 400.0) -> float:
        return float(flat_integral(on_plane(spectrum(40.0, air), HORIZONTAL, 40.0), low, high))

    base = level(STANDARD)
    assert 1.02 < level(Atmosphere(height_m=2000.0)) / base < 1.12
    assert level(Atmosphere(ozone_du=400.0)) < base
    assert level(Atmosphere(ozone_du=400.0), 360) == pytest.approx(level(STANDARD, 360), rel=1e-9)
    assert level(Atmosphere(aerosol_500=0.4)) < base
    assert 1.1 < level(Atmosphere(albedo=0.8)) / base < 1.4
    assert level(Atmosphere(pressure=1013.0)) == pytest.approx(base, rel=1e-3)


def test_dark_when_the_sun_is_down_and_never_negative() -> None:
    zenith = np.array([0.0, 60.0, 89.0, 89.99, 90.0, 120.0])
    light = spectrum(zenith)
    for plane in (HORIZONTAL, TOWARD_SUN, Plane(60.0), SHADE):
        level = flat_integral(on_plane(light, plane, zenith))
        assert (level[:4] > 0).all() and (level[4:] == 0).all()


def test_the_year_moves_the_light_by_the_distance_alone() -> None:
    """3.4 % either way: (1/0.9833)² and (1/1.0167)²."""
    january, july = (float(flat_integral(spectrum(30.0, STANDARD, day).direct)) for day in (3.0, 186.0))
    assert january / july == pytest.approx((1.0167 / 0.9833) ** 2, rel=2e-3)


def test_planes() -> None:
    """Closed forms: cosine of incidence on a tilted plane, and the parts of a level one."""
    assert float(cos_incidence(Plane(30.0, 180.0), 50.0, 180.0)) == pytest.approx(np.cos(np.radians(20)))
    beside = np.cos(np.radians(50)) * np.cos(np.radians(30))
    assert float(cos_incidence(Plane(30.0, 180.0), 50.0, 90.0)) == pytest.approx(beside)
    assert float(cos_incidence(Plane(60.0, 0.0), 50.0, 180.0)) == 0.0
    assert float(cos_incidence(Plane(30.0), 50.0)) == pytest.approx(np.cos(np.radians(20)))
    light = spectrum(50.0)
    _, around, even, ground = parts_on_plane(light, HORIZONTAL, 50.0)
    assert around + even == pytest.approx(light.diffuse) and (ground == 0).all() and (around > 0).any()
    shaded = on_plane(light, SHADE, 50.0)
    assert shaded == pytest.approx(light.diffuse)
    with pytest.raises(ValueError, match="sun's azimuth"):
        on_plane(light, Plane(30.0, 180.0), 50.0)
    with pytest.raises(ValueError, match="tilt"):
        Plane(91.0)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"ozone_du": -1.0}, "ozone"),
        ({"aerosol_500": float("nan")}, "aerosol"),
        ({"albedo": np.array([0.2, 1.5])}, "albedo"),
    ],
)
def test_an_air_that_is_none(wrong: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Atmosphere(**wrong)
    with pytest.raises(ValueError, match="ozone"):
        STANDARD.with_air(-5.0, 0.1)
