"""Where the sun stands: against NREL's own example, and against pvlib's SPA over random times and places."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from pvlib import spa

from uvdose.light.sun import position, refraction_deg

PLACES = 5000


def _utc(*moment: int) -> float:
    return datetime(*moment, tzinfo=UTC).timestamp()  # type: ignore[misc]


def _spa(utc_s: np.ndarray, latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
    """Apparent zenith, zenith, azimuth by pvlib's SPA (Reda & Andreas), at the air of sea level and 12 C."""
    # Each of its steps goes value by value, so that latitudes and longitudes may be as many as the times.
    row = spa.solar_position_numpy(utc_s, latitude, longitude, 0.0, 1013.25, 12.0, 69.0, 0.5667, 1)
    return np.array([row[0], row[1], row[4]])


def _turn(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.abs((a - b + 180) % 360 - 180)


def test_nrel_example() -> None:
    """NREL/TP-560-34302, rev. 2008, table A5.1: zenith 50.11162 with refraction, azimuth 194.34024; without refraction
    50.127954. A low-precision algorithm lies within 0.016 degree of it (computed, 2000 to 2050)."""
    sun = position(_utc(2003, 10, 17, 19, 30, 30), 39.742476, -105.1786, 1830.14, pressure=820.0, temperature_c=11.0)
    assert float(sun.apparent_zenith_deg) == pytest.approx(50.11162, abs=0.016)
    assert float(sun.zenith_deg) == pytest.approx(50.127954, abs=0.016)
    assert float(sun.azimuth_deg) == pytest.approx(194.34024, abs=0.016)
    assert float(sun.elevation_deg) == pytest.approx(90 - 50.11162, abs=0.016)


def test_refraction_of_the_example() -> None:
    """The same example: 50.127954 - 50.11162 degrees, at 820 hPa and 11 C."""
    assert float(refraction_deg(90 - 50.127954, 820.0, 11.0)) == pytest.approx(0.01633, abs=2e-5)


def test_random_times_and_places() -> None:
    """pvlib 0.11.2's SPA, 2000 to 2050, whole globe. Measured: 0.0091 degree at worst; asked: 0.02."""
    rng = np.random.default_rng(20260621)
    utc_s = rng.uniform(_utc(2000, 1, 1), _utc(2051, 1, 1), PLACES)
    latitude = np.degrees(np.arcsin(rng.uniform(-1, 1, PLACES)))
    longitude = rng.uniform(-180, 180, PLACES)
    apparent, zenith, azimuth = _spa(utc_s, latitude, longitude)
    sun = position(utc_s, latitude, longitude)
    high = zenith < 85
    assert high.sum() > PLACES / 3
    worst = np.abs(sun.zenith_deg - zenith)[high].max()
    aside = (_turn(sun.azimuth_deg, azimuth) * np.sin(np.radians(zenith)))[high].max()
    print(f"zenith {worst:.4f}, azimuth {aside:.4f} degree on the sky")
    assert worst < 0.012
    assert np.abs(sun.apparent_zenith_deg - apparent)[high].max() < 0.012
    assert aside < 0.012
    # Low suns and those below the horizon: no worse, without refraction.
    assert np.abs(sun.zenith_deg - zenith).max() < 0.012


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(0.0, 0.0), (90.0, 0.0), (-90.0, 77.0), (-33.9, 18.4), (66.56, -180.0), (66.56, 180.0), (-17.0, 179.999)],
)
def test_odd_places(latitude: float, longitude: float) -> None:
    """pvlib's SPA at the equator, the poles, the south, and on both sides of the date line, each hour of two days."""
    utc_s = np.array([_utc(2026, m, 20, h) for m in (3, 12) for h in range(24)])
    _, zenith, azimuth = _spa(utc_s, np.full(48, latitude), np.full(48, longitude))
    sun = position(utc_s, latitude, longitude)
    assert np.abs(sun.zenith_deg - zenith).max() < 0.012
    assert (_turn(sun.azimuth_deg, azimuth) * np.sin(np.radians(zenith))).max() < 0.012


def test_the_date_line_is_one_place() -> None:
    noon = _utc(2026, 6, 21, 0)
    east, west = (position(noon, -17.0, longitude) for longitude in (180.0, -180.0))
    assert float(east.zenith_deg) == pytest.approx(float(west.zenith_deg), abs=1e-9)
    round_again = position(noon, -17.0, 180.0 + 360.0)
    assert float(round_again.azimuth_deg) == pytest.approx(float(west.azimuth_deg), abs=1e-6)


def test_the_day_of_a_leap_second() -> None:
    """Unix time gives 2016-12-31 23:59:60 the number of the second after it: the sun goes on without a step of more
    than one second (15 arc seconds), and before and after the day SPA agrees."""
    midnight = _utc(2017, 1, 1)
    utc_s = midnight + np.array([-86400.0, -1.0, 0.0, 1.0, 86400.0])
    sun = position(utc_s, 40.0, -100.0)
    _, zenith, _ = _spa(utc_s, np.full(5, 40.0), np.full(5, -100.0))
    assert np.abs(sun.zenith_deg - zenith).max() < 0.012
    assert np.abs(np.diff(sun.zenith_deg[1:4])).max() <= 15 / 3600


def test_one_moment_and_many_are_the_same() -> None:
    utc_s = _utc(2026, 6, 21, 9) + 60.0 * np.arange(60)
    many = position(utc_s, 47.0, 7.0, 500.0)
    for k in (0, 31, 59):
        one = position(float(utc_s[k]), 47.0, 7.0, 500.0)
        assert float(one.azimuth_deg) == float(many.azimuth_deg[k])
        assert float(one.apparent_zenith_deg) == float(many.apparent_zenith_deg[k])


def test_thin_air_bends_less_and_none_lifts_a_sun_that_is_down() -> None:
    assert float(refraction_deg(5.0, 700.0)) < float(refraction_deg(5.0))
    assert float(refraction_deg(-5.0)) == 0.0


@pytest.mark.parametrize("latitude", [90.001, -91.0, float("nan"), float("inf")])
def test_a_latitude_beyond_the_poles_is_refused(latitude: float) -> None:
    with pytest.raises(ValueError, match="-90 to 90"):
        position(0.0, latitude, 0.0)


def test_distance() -> None:
    """Perihelion and aphelion, 0.9833 and 1.0167 au (astronomical almanacs)."""
    assert float(position(_utc(2026, 1, 3, 17), 0, 0).distance_au) == pytest.approx(0.9833, abs=2e-4)
    assert float(position(_utc(2026, 7, 6, 17), 0, 0).distance_au) == pytest.approx(1.0167, abs=2e-4)
