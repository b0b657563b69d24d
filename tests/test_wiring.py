"""The drawings of the notes: made by the script beside them, whole, self-contained, and true to the firmware's pins."""

from __future__ import annotations

import importlib.util
import re
import xml.etree.ElementTree as ET
from pathlib import Path
from types import ModuleType

import pytest

NOTES = Path(__file__).parents[1] / "firmware_notes"
SVG = "{http://www.w3.org/2000/svg}"


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("draw", NOTES / "wiring" / "draw.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


DRAW = _script()


def _words(name: str) -> list[str]:
    return [e.text or "" for e in ET.parse(NOTES / "wiring" / name).iter(f"{SVG}text")]


@pytest.mark.parametrize("name", DRAW.DRAWINGS)
def test_a_drawing_is_what_its_script_makes(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(DRAW, "HERE", tmp_path)
    assert DRAW.DRAWINGS[name]().save(name) == (NOTES / "wiring" / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", DRAW.DRAWINGS)
def test_it_is_whole_and_refers_to_nothing_outside(name: str) -> None:
    tree = ET.parse(NOTES / "wiring" / name)
    _, _, width, height = map(float, tree.getroot().attrib["viewBox"].split())
    assert tree.find(f"{SVG}title") is not None and tree.find(f"{SVG}desc") is not None, "told to who cannot see it"
    text = (NOTES / "wiring" / name).read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
    assert "http" not in text and "href" not in text and "<script" not in text
    for e in tree.iter(f"{SVG}text"):
        x, y, size = (float(e.attrib[k]) for k in ("x", "y", "font-size"))
        long = 0.56 * size * len(e.text or "")  # a sans serif face has about so much a character
        left = {"start": x, "middle": x - long / 2, "end": x - long}[e.attrib["text-anchor"]]
        assert left >= 0 and left + long <= width and 0 < y < height, e.text


def test_the_pins_are_those_of_the_firmware() -> None:
    header = (NOTES / "avr" / "settings.h").read_text(encoding="utf-8")
    drawn = set(_words("avr-photodiode.svg"))
    for setting in ("BUZZER_BIT", "BUTTON_BIT"):
        found = re.search(rf"#define {setting} .*\((D\d+)\)", header)
        assert found is not None and found[1] in drawn
    assert "#define ADC_CHANNEL 0" in header and "A0" in drawn
    settings = (NOTES / "micropython" / "settings.py").read_text(encoding="utf-8")
    drawn = set(_words("wifi-i2c.svg"))
    for setting in ("SDA", "SCL", "BUTTON", "BUZZER"):
        found = re.search(rf"^{setting} = (\d+)", settings, re.MULTILINE)
        assert found is not None and found[1] in drawn
