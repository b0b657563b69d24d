"""Rise, noon and set: held against pvlib's SPA at the moments found, and days on which there are none."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from pvlib import spa
from pvlib.solarposition import sun_rise_set_transit_spa

from uvdose.light.daylight import solar_day
from uvdose.light.sun import HORIZON_DEG, position

MIDSUMMER, MIDWINTER, MARCH = date(2026, 6, 21), date(2026, 12, 21), date(2026, 3, 20)


def _spa_zenith(utc_s: float, latitude: float, longitude: float) -> float:
    return float(
        spa.solar_position_numpy(np.array([utc_s]), latitude, longitude, 0.0, 1013.25, 12.0, 69.0, 0.5667, 1)[1][0]
    )


def test_the_sun_is_at_the_horizon_when_it_rises_and_sets() -> None:
    """By pvlib's SPA the middle of the sun then stands 0.8333 degree below the horizon; 200 random days and places."""
    rng = np.random.default_rng(5)
    for _ in range(200):
        day = date(2000, 1, 1) + timedelta(days=int(rng.integers(0, 18000)))
        latitude, longitude = float(rng.uniform(-65, 65)), float(rng.uniform(-180, 180))
        found = solar_day(day, latitude, longitude)
        assert found.sun.from_utc_s is not None and found.sun.until_utc_s is not None
        for moment in (found.sun.from_utc_s, found.sun.until_utc_s):
            assert _spa_zenith(moment, latitude, longitude) == pytest.approx(90 - HORIZON_DEG, abs=0.012)
        assert found.sun.from_utc_s < found.noon_utc_s < found.sun.until_utc_s


def test_noon_is_spa_s_transit() -> None:
    """pvlib's transit, within 5 s, on the UTC day into which the noon falls."""
    for longitude in (-179.0, -100.0, 0.0, 7.0, 179.0):
        noon = solar_day(MIDSUMMER, 46.8, longitude).noon_utc_s
        day = pd.DatetimeIndex([pd.Timestamp(noon, unit="s", tz="UTC").normalize()])
        transit = sun_rise_set_transit_spa(day, 46.8, longitude)["transit"].iloc[0].timestamp()
        assert noon == pytest.approx(transit, abs=5)


@pytest.mark.parametrize("longitude", [-180.0, -90.0, 0.0, 179.9])
def test_noon_falls_into_the_date_of_the_place(longitude: float) -> None:
    noon = solar_day(MIDSUMMER, -17.0, longitude).noon_utc_s
    there = datetime.fromtimestamp(noon + longitude * 240, UTC)
    assert there.date() == MIDSUMMER and there.hour in (11, 12)


@pytest.mark.parametrize(
    ("day", "latitude", "always"),
    [(MIDSUMMER, 71.0, "up"), (MIDWINTER, 71.0, "down"), (MIDSUMMER, -71.0, "down"), (MIDWINTER, -71.0, "up"),
     (MIDSUMMER, 90.0, "up"), (MIDWINTER, 90.0, "down")],
)  # fmt: skip
def test_polar_day_and_night(day: date, latitude: float, always: str) -> None:
    found = solar_day(day, latitude, 25.0)
    assert (found.sun.always, found.sun.from_utc_s, found.sun.until_utc_s) == (always, None, None)
    assert found.sun.length_s == (86400.0 if always == "up" else 0.0)
    assert (found.highest_deg > 0) == (always == "up")


def test_a_sun_that_only_looks_over_the_edge() -> None:
    """A place so far north that the day lasts minutes: it is found, however short."""
    seen = set()
    for latitude in np.arange(67.0, 67.6, 0.02):
        found = solar_day(MIDWINTER, float(latitude), 0.0)
        highest = 90 - float(position(found.noon_utc_s, float(latitude), 0.0).zenith_deg)
        assert (found.sun.always == "down") == (highest <= HORIZON_DEG)
        seen.add(found.sun.always)
    assert seen == {"down", None}


def test_the_days_around_the_end_of_the_polar_day() -> None:
    """From the midnight sun to the first real night and back: each day has its stretch around noon, no end lies on the
    wrong side of it, and no day is longer or shorter than its neighbour by more than an hour or two."""
    for first in (date(2026, 5, 5), date(2026, 7, 25)):
        lengths = []
        for k in range(20):
            found = solar_day(first + timedelta(days=k), 71.0, 25.0)
            start, end = found.sun.from_utc_s, found.sun.until_utc_s
            assert start is None or found.noon_utc_s - 43200 <= start < found.noon_utc_s
            assert end is None or found.noon_utc_s < end <= found.noon_utc_s + 43200
            lengths.append(found.sun.length_s)
        assert max(lengths) == 86400.0 and min(lengths) < 80000
        assert np.abs(np.diff(lengths)).max() < 7200


def test_the_equator_in_march() -> None:
    """Twelve hours and what refraction and the sun's width make of it: 2 x 0.8333 x 4 minutes."""
    assert solar_day(MARCH, 0.0, 0.0).sun.length_s == pytest.approx(12 * 3600 + 2 * 0.8333 * 240, abs=15)


def test_both_hemispheres_mirror_each_other() -> None:
    """The noon heights of two latitudes on one day add up: 90 - |latitude - declination| each."""
    north, south = (solar_day(MIDSUMMER, latitude, 0.0) for latitude in (45.0, -45.0))
    assert north.highest_deg - south.highest_deg == pytest.approx(2 * 23.436, abs=0.05)
    assert north.sun.length_s + south.sun.length_s == pytest.approx(86400, abs=1500)
