"""Cautions, and a UV index that comes from no sensor that cannot know it."""

from __future__ import annotations

import pytest

from uvdose.catalogue import catalogue
from uvdose.light.airmass import zenith_of
from uvdose.light.bands import sensor_band, sensor_classes
from uvdose.light.clearsky import spectrum
from uvdose.light.person import caution, index_spread, tells_index, uv_index
from uvdose.light.plane import HORIZONTAL, on_plane
from uvdose.model import Refusal


@pytest.mark.parametrize("name", [*(n for n in sensor_classes() if n != "erythema"), "none", "", "UVA"])
def test_no_index_from_a_sensor_of_other_wavelengths(name: str) -> None:
    """From air mass 1 to 3 UVA falls 4.7 times, the index 14.6 times (computed with SPECTRL2)."""
    with pytest.raises(Refusal) as refused:
        uv_index(name, 0.2)
    assert refused.value.code == 4 and "only from: erythema" in refused.value.line and "\n" not in refused.value.line


def test_a_uva_sensor_would_be_off_by_three_times() -> None:
    assert index_spread("near") == pytest.approx(14.6 / 4.7, rel=0.05)
    assert index_spread("erythema") == pytest.approx(1.0)
    assert [n for n in sensor_classes() if tells_index(n)] == ["erythema"]


def test_no_band_of_the_catalogue_tells_an_index() -> None:
    """All its parts see more than the weight of erythema lets through, whatever they are sold as."""
    for band in catalogue().bands:
        with pytest.raises(Refusal):
            uv_index(band, 0.1)


def test_the_index_is_forty_times() -> None:
    """WHO/WMO: 0.2 W/m² of erythemal light is 8, 0.075 is 3."""
    assert uv_index("erythema", 0.2) == pytest.approx(8.0)
    assert uv_index("erythema", 0.075) == pytest.approx(3.0)


def test_of_a_clear_noon_in_midsummer_it_is_what_one_knows() -> None:
    """The sun 66 degrees high, 320 DU: 7 to 9 (common knowledge for 47 degrees north in June, no source)."""
    zenith = 24.0
    light = on_plane(spectrum(zenith), HORIZONTAL, zenith)
    assert 6.5 < uv_index("erythema", float(sensor_band("erythema").integral(light))) < 9.5
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
