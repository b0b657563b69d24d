"""What is said of each process: with its source, with its cautions, and within what is commonly known."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import uvdose
from uvdose.calibrate.processes import Process, cautions, dose_doubt, known, process, table
from uvdose.model import Refusal

# Lowest and highest log exposure scale. Common practice, no source.
SCALES = {
    "iron blue": (1.35, 1.8),
    "brown iron-silver": (1.6, 2.0),
    "salted paper": (1.8, 2.4),
    "platinum/palladium": (1.4, 2.2),
    "gum": (0.8, 1.2),
}
# What must be said: silver, platinum and so on can do harm. Sources: ICSC 1132, CLP, as in the table itself.
MUST_SAY = {
    "iron blue": {"acids and from heat", "hydrogen cyanide"},
    "brown iron-silver": {"burns skin and eyes"},
    "salted paper": {"burns skin and eyes"},
    "platinum/palladium": {"sensitisers of the lungs", "Oxalates", "toxic", "Clearing acids"},
    "gum": {
        "carcinogenic", "mutagenic", "toxic to reproduction", "sensitise skin and lungs",
        "None in a class of the young",
    },
    "plant juice": {"Know the plant"},
}

every = pytest.mark.parametrize("p", table().processes, ids=lambda p: p.name)


def test_all_six_are_there() -> None:
    assert set(known()) == set(MUST_SAY)


def test_the_standing_line_defers_to_who_knows_better() -> None:
    for word in ("maker's data sheets", "local codes", "licensed practice"):
        assert word in table().standing


@every
def test_everything_said_has_a_source(p: Process) -> None:
    said = [p.scale.source, p.judge.source, p.dry_down.source, *(c.source for c in cautions(p))]
    said += [p.dose.source] if p.dose else []
    assert all(len(s) > 5 for s in said)
    assert "common practice, no source" in p.scale.source or p.scale.low is None


@every
def test_cautions_are_said_where_due(p: Process) -> None:
    text = " ".join(c.text for c in cautions(p))
    for words in MUST_SAY[p.name]:
        assert words in text
    assert "Ultraviolet" in text


@every
def test_scales_are_the_common_ones(p: Process) -> None:
    if p.name == "plant juice":
        assert (p.scale.low, p.scale.high, p.prints) == (None, None, "bleaches")
        return
    assert (p.scale.low, p.scale.high) == SCALES[p.name]
    assert p.prints == "darkens"


@every
def test_how_to_judge_is_said(p: Process) -> None:
    assert p.judge.when in ("wet", "dry", "the next day", "as it is")
    assert len(p.judge.look) > 40
    low, high = p.dry_down.stops_low, p.dry_down.stops_high
    assert (low is None) == (high is None)
    assert low is None or high is None or 0 <= low <= high <= 1


def test_no_caution_is_left_over() -> None:
    used = {key for p in table().processes for key in p.cautions}
    assert used == set(table().cautions)


def test_words_are_each_ones_own() -> None:
    words = [w for p in table().processes for w in (p.name, *p.words)]
    assert len(words) == len(set(words))
    for p in table().processes:
        for w in (p.name, *p.words):
            assert process(w) is p


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("Iron Blue", "iron blue"),
        ("classic cyanotype", "iron blue"),
        ("blue print on rag paper", "iron blue"),
        ("Van-Dyke", "brown iron-silver"),
        ("salt", "salted paper"),
        ("Platinum / Palladium", "platinum/palladium"),
        ("one layer of gum", "gum"),
        ("plant", "plant juice"),
    ],
)
def test_a_process_is_found_by_words(asked: str, name: str) -> None:
    assert process(asked).name == name


@pytest.mark.parametrize("asked", ["", "  ", "oil", "iron", "print", "paper", "blue gum"])
def test_what_is_not_known_or_not_clear_lists_what_is(asked: str) -> None:
    with pytest.raises(Refusal) as refused:
        process(asked)
    assert refused.value.code == 2
    assert all(name in refused.value.line for name in known())
    assert "\n" not in refused.value.line


def test_a_dose_far_from_usual_is_doubted_and_no_more() -> None:
    # Source: 8 to 10 minutes at 45 to 65 W/m² are 21.6 to 39 kJ/m², that is 2160 to 3900 mJ/cm².
    blue = process("iron blue")
    assert blue.dose is not None
    assert blue.dose.low_mj_cm2 <= 8 * 60 * 45 / 10 <= 10 * 60 * 65 / 10 <= blue.dose.high_mj_cm2
    assert dose_doubt(blue, 2565) is None
    assert dose_doubt(blue, 1100) is None
    assert "iron blue usually takes 2000 to 4000" in (dose_doubt(blue, 25.65) or "")
    assert "26.07 mJ/cm² is far off" in (dose_doubt(blue, 26.0726) or "")
    assert dose_doubt(blue, 256_500) is not None
    assert dose_doubt(process("gum"), 1.0) is None


def test_the_table_travels_with_the_package() -> None:
    root = Path(uvdose.__file__).parent
    assert (root / "calibrate" / "processes.json").is_file()
    settings = tomllib.loads((root.parent / "pyproject.toml").read_text(encoding="utf-8"))
    assert "*.json" in settings["tool"]["setuptools"]["package-data"]["*"]
