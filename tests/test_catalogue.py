"""The catalogue of sensors against the figures it rests on, and the settings key that names a part."""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import pytest

from uvdose.catalogue import AIR_MASSES, Part, catalogue, part_in, part_named
from uvdose.config import parse_settings
from uvdose.model import Refusal
from uvdose.units import IRRADIANCE_UNITS

NOTES = Path(__file__).parents[1] / "firmware_notes"


def test_the_notes_say_what_the_catalogue_says() -> None:
    made = runpy.run_path(str(NOTES / "write_sensors.py"))["page"]()
    assert (NOTES / "sensors.md").read_text(encoding="utf-8") == made, "run firmware_notes/write_sensors.py"
    for part in catalogue().parts:
        assert part.part in made and (part.refused or part.pitfalls[0]) in made


def _settings(part: str, more: str = "") -> str:
    return f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "x"\nformat = "number"\npart = "{part}"\n{more}'


def _part(name: str) -> Part:
    return next(p for p in catalogue().parts if p.part == name)


def test_each_part_is_whole() -> None:
    names = [p.part for p in catalogue().parts]
    assert len(set(names)) == len(names) >= 10
    for p in catalogue().parts:
        assert p.kind in ("photodiode", "digital") and p.source and p.conversion
        assert p.low_nm is None or (p.high_nm is not None and 200 <= p.low_nm < p.high_nm <= 600)
        low, high = p.low_nm or 0, p.high_nm or 1000
        assert p.peak_nm is None or low < p.peak_nm < high
        assert p.scale is None or (0 < p.scale.low <= p.scale.high and p.scale.unit not in IRRADIANCE_UNITS)
        band = catalogue().bands[p.band]
        assert p.refused or (band.facing is not None and len(band.facing) == len(AIR_MASSES) and p.pitfalls)
        # What hardly follows a print, or sees no UV, is never offered.
        assert (p.refused is not None) == (p.band in ("short", "none"))


def test_the_scales_follow_from_the_sensitivities() -> None:
    # 101-125 nA per mW/cm² (data sheet) through 4.3 V per µA (notes of a breakout board).
    guva = _part("GUVA-S12SD").scale
    assert guva is not None
    assert guva.high == pytest.approx(1 / (0.101 * 4.3), rel=0.005)
    assert guva.low == pytest.approx(1 / (0.125 * 4.3), rel=0.005)
    # 1.0 V dark, 2.8 V at 15 mW/cm² (data sheet): 0.12 V per mW/cm².
    ml = _part("ML8511").scale
    assert ml is not None and ml.low < 15 / (2.8 - 1.0) + 0.2 and ml.high > 1 / 0.125
    # 0.93 counts per µW/cm² (application note).
    veml = _part("VEML6075").scale
    assert veml is not None and veml.low == pytest.approx(1 / 930, rel=0.01)
    # 16 bit at gain 64 and 64 ms clip at 5.4 mW/cm² (data sheet AS7331).
    full = int(_part("AS7331").conversion.split("counts x ")[1].split()[0])
    clips_mw_cm2 = 65536 * full / (64 * 64 * 1024) / 1000
    assert f"{clips_mw_cm2:.1f} mW/cm² with gain 64 and 64 ms" in " ".join(_part("AS7331").pitfalls)


def test_narrow_near_uv_follows_a_print_best_and_uvb_worst() -> None:
    """The drifts were computed with SPECTRL2; their order is what the advice to a person rests on."""
    worst = {
        name: max(map(abs, band.facing)) for name, band in catalogue().bands.items() if band.facing is not None
    }
    assert sorted(worst, key=lambda name: worst[name]) == ["near", "middle", "wide", "short"]
    for band in catalogue().bands.values():
        for row in (band.horizontal, band.facing):
            # Calibrated at air mass 1.2: the error changes its sign between 1 and 1.5.
            assert row is None or (row[0] < 0 < row[1] and len(row) == len(AIR_MASSES))
    assert math.isclose(worst["near"], 11)


@pytest.mark.parametrize("name", ["GUVA-S12SD", "guva_s12sd", "ml8511", "LTR 390 UV"])
def test_a_known_part_changes_no_figure(name: str) -> None:
    plain = parse_settings(_settings(name).replace(f'part = "{name}"\n', ""), "uvdose.toml").sensor[0]
    named = parse_settings(_settings(name), "uvdose.toml").sensor[0]
    assert named.part == name and all(
        getattr(named, key) == getattr(plain, key) for key in named.__struct_fields__ if key != "part"
    )


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("GUVA-S12", ("is no part of the catalogue", "near it are GUVA-S12SD", "leave it out")),
        ("bogus", ("known are GUVA-S12SD, ML8511",)),
        ("SI1145", ("is refused", "no UV photodiode", "take another sensor")),
        ("si1133", ("is refused", "erythemal")),
        ("", ("is no part of the catalogue",)),
    ],
)
def test_an_unknown_or_a_refused_part_is_one_line(name: str, words: tuple[str, ...]) -> None:
    with pytest.raises(Refusal) as caught:
        parse_settings(_settings(name), "uvdose.toml")
    line = caught.value.line
    assert line.startswith("uvdose.toml: sensor sill.part: ") and "\n" not in line
    assert all(word in line for word in words), line
    with pytest.raises(Refusal):
        part_named(name)


def test_a_part_is_found_in_what_boards_call_it() -> None:
    found = part_in("/VEML6075/UvLevel")
    assert found is not None and found.part == "VEML6075"
    ltr = part_in("garden/ltr390/uvs")
    assert ltr is not None and ltr.part == "LTR-390UV"
    assert part_in("garden/roof/uv") is None


@pytest.mark.parametrize("more", ['unit = "mW/cm2"', "scale = 0.01", 'unit = "V"\nscale = 2.0'])
def test_a_uv_index_is_never_taken_for_irradiance(more: str) -> None:
    text = _settings("ML8511", more).replace('"number"', '"label"\nfield = "UV Index"')
    with pytest.raises(Refusal, match=r"sensor sill.unit: .*UV index.*weighs light by what burns skin"):
        parse_settings(text, "uvdose.toml")
    assert parse_settings(text.replace(more, ""), "uvdose.toml").sensor[0].field == "UV Index"
