"""Cautions, and why no UV index is told: a sensor of UVA cannot know it."""

from __future__ import annotations

import numpy as np
import pytest

from uvdose.light.airmass import zenith_of
from uvdose.light.bands import sensor_band
from uvdose.light.clearsky import spectrum
from uvdose.light.person import caution
from uvdose.light.plane import HORIZONTAL, on_plane

# WHO/WMO: the UV index is this many times the erythemally weighted irradiance in W/m².
INDEX_PER_W_M2 = 40.0


def test_no_index_is_to_be_had_from_a_sensor_of_uva() -> None:
    """From air mass 1 to 3 UVA falls 4.7 times, the index 14.6 times (computed with SPECTRL2)."""
    zenith = zenith_of(np.array((1.0, 1.2, 1.5, 2.0, 2.5, 3.0)))
    light = on_plane(spectrum(zenith), HORIZONTAL, zenith)
    skin, near = (sensor_band(name).integral(light) for name in ("erythema", "near"))
    per_reading = skin / near
    assert float(per_reading.max() / per_reading.min()) == pytest.approx(14.6 / 4.7, rel=0.05)


def test_of_a_clear_noon_in_midsummer_it_is_what_one_knows() -> None:
    """The sun 66 degrees high, 320 DU: 7 to 9 (common knowledge for 47 degrees north in June, no source)."""
    zenith = 24.0
    light = on_plane(spectrum(zenith), HORIZONTAL, zenith)
    assert 6.5 < INDEX_PER_W_M2 * float(sensor_band("erythema").integral(light)) < 9.5
    assert float(zenith_of(1.0947)) == pytest.approx(zenith, abs=0.2)


def test_cautions_follow_the_height_of_the_sun() -> None:
    """The shadow rule (common practice, no source): shorter than oneself above 45 degrees."""
    said = [caution(height) for height in (80.0, 45.1, 44.9, 20.0, 5.0)]
    assert said[0] == said[1] and len(set(said)) == 4
    assert "shorter than you" in (said[0] or "") and "shorter" not in (said[2] or "")
    assert caution(0.0) is None and caution(-20.0) is None


def test_cautions_are_plain_and_allow_nothing() -> None:
    for height in range(1, 91):
        words = (caution(float(height)) or "").casefold()
        assert words and "minutes" not in words and "safe" not in words and len(words) < 130
