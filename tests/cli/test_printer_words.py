"""What a printer reads of targets, films, editions and verdicts: in columns that fit, and in the words of the trade."""

from __future__ import annotations

import sys

import pytest

from uvdose.cli.calibration.verdict import _checked
from uvdose.model import Refusal
from uvdose.review.layout import WIDTH, wrap

from .conftest import SIMULATED, Homed

LONG = "one of two prints was too light and one right, so the right dose is likely 518: 0.25 stop more than now"


def test_sentences_fit_a_narrow_terminal_and_files_stay_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert max(map(len, wrap(LONG * 5))) > 80
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert max(map(len, wrap(LONG * 5))) <= 80
    monkeypatch.setenv("COLUMNS", "300")
    assert 80 < max(map(len, wrap(LONG * 5))) <= WIDTH


def test_too_light_by_half_a_stop_needs_no_sign() -> None:
    assert _checked("light", 0.5, None, None, "").stops == -0.5
    assert _checked("light", -0.5, None, None, "").stops == -0.5
    assert _checked("dark", 0.5, None, None, "").stops == 0.5
    with pytest.raises(Refusal, match="contradict"):
        _checked("dark", -0.5, None, None, "")


def test_a_long_reason_stands_below_the_columns_and_a_version_is_named_as_screens_write_it(home: Homed) -> None:
    assert home.call("target", "set", "blue", "--dose", "500", "--paper", "rag").code == 0
    assert home.call("target", "set", "blue", "--dose", "600", "--reason", LONG).code == 0
    told = home.call("target", "diff", "blue v1", "blue:2")
    assert told.code == 0 and max(map(len, told.out.splitlines())) <= WIDTH
    assert "reason of blue v2: one of two prints" in told.out


def test_what_was_only_copied_is_not_said_to_be_proved(home: Homed) -> None:
    home.write(SIMULATED)
    assert home.call("target", "set", "blue", "--dose", "500", "--paper", "rag").code == 0
    assert home.call("target", "copy", "blue", "blue-kozo", "--paper", "kozo").code == 0
    told = home.call("target", "show", "blue-kozo").out
    assert "proved with" not in told and "not proved yet" in told
    assert "proved with" in home.call("target", "show", "blue").out


def test_film_that_holds_nothing_back_is_doubted(home: Homed) -> None:
    bare = ("--reading", "5", "--reading", "5", "--reading", "5")
    assert "did it cover the sensor?" in home.call("film", "measure", "sheet", *bare).out
    film = ("--reading", "5", "--reading", "4.1", "--reading", "5")
    assert "did it cover" not in home.call("film", "measure", "sheet", *film).out


def test_an_edition_of_layers_counts_its_prints_against_all(home: Homed) -> None:
    assert home.call("target", "set", "one", "--dose", "500").code == 0
    assert home.call("target", "set", "two", "--dose", "500").code == 0
    assert home.run("edition", "plan", "fans", "--prints", "3", "--target", "one", "--target", "two").code == 0
    assert home.call("edition", "list").out.split()[-3:] == ["0", "of", "6"]


def test_a_plan_labels_what_is_known_of_the_process_and_a_dropped_sheet_makes_no_target(home: Homed) -> None:
    home.write(SIMULATED)
    told = home.call("strip", "plan", "--around", "2400", "--process", "iron blue", "--through-film").out.splitlines()
    for label in ("judge it ", "dry-down ", "caution  "):
        assert any(line.startswith(label) for line in told), label
    assert home.call("strip", "drop", "1").code == 0
    home.call("strip", "accept", "1", "--name", "blue").refused(4, "strip 1 was dropped")


def test_a_tablet_file_that_is_not_there_is_said_to_be_missing(home: Homed) -> None:
    home.write(SIMULATED)
    home.call("tablet", "plan", "--tablet", "mine.csv", "--dose", "800").refused(2, "is no file that is there")
