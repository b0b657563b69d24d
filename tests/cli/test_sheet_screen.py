"""A strip in the light, at 80 columns: the line is drawn over, so it must fit, and it says what to do and when."""

from __future__ import annotations

import re
from typing import Any

import msgspec
import pytest

from uvdose.cli import sheet_run
from uvdose.cli.sheet_run import _Screen
from uvdose.cli.sheets import Sheet
from uvdose.messages import ExposureDoc, Taken
from uvdose.notes import Calibration, StripPlan

SHEET = Sheet("strip", "1", Calibration(StripPlan((100.0, 200.0, 400.0, 800.0), "cover"), "mJ/cm2", "sill"), None, "")


def _shown(fraction: float, alarms: tuple[str, ...] = ()) -> ExposureDoc:
    return ExposureDoc(
        1, "strip 1", 0, "sill", "1", "counting", "mJ/cm2", 800.0, 800.0 * fraction, 0.0, 0.0, fraction, 200.0, 0.0,
        0.0, 0.0, 0.0, "2026-06-21T10:00:00.000Z", None, None, 80.0 * (1 - fraction), list(alarms), [], False,
    )


@pytest.fixture(autouse=True)
def _terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheet_run, "at_terminal", lambda: True)
    monkeypatch.setenv("COLUMNS", "80")


@pytest.mark.parametrize("fraction", [0.0, 0.13, 0.26, 0.51, 0.99, 1.01, 23.4])
@pytest.mark.parametrize("alarms", [(), ("gap", "silent")])
def test_the_line_is_never_wider_than_the_terminal(
    fraction: float, alarms: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    _Screen(SHEET, 1, 0).draw(_shown(fraction, alarms))
    drawn = re.sub(r"\x1b\[K|[\r\a]", "", capsys.readouterr().out)
    assert len(drawn) < 80
    if fraction > 0.125:
        assert "NOW: " in drawn
    if fraction > 0.125 and not alarms:
        assert drawn.endswith("(Enter when done)")


def test_it_tells_when_the_next_step_comes() -> None:
    assert _Screen(SHEET, 1, 0).line(_shown(0.0)).endswith("next: cover step 1 at 100.0 in about 0:10")
    assert _Screen(SHEET, 1, 1).line(_shown(0.125)).endswith("next: cover step 2 at 200.0 in about 0:10")


def test_a_step_that_was_answered_before_is_not_asked_for_again() -> None:
    assert "NOW: cover step 2" in _Screen(SHEET, 1, 1).line(_shown(0.3))
    assert "next: cover step 3" in _Screen(SHEET, 1, 2).line(_shown(0.3))


class _Daemon:
    def post(self, path: str, *_: Any) -> Taken:
        self.path = path
        return Taken(exposure=msgspec.structs.replace(_shown(0.6), dose=481.0))


def test_steps_that_nobody_told_of_are_named_and_an_early_enter_is_not_swallowed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    screen, daemon = _Screen(SHEET, 1, 0), _Daemon()
    screen.take(daemon, _shown(0.1))  # type: ignore[arg-type]
    assert capsys.readouterr().out == "nothing is to be done yet, nothing was noted\n"
    screen.take(daemon, _shown(0.6))  # type: ignore[arg-type]
    out = " ".join(capsys.readouterr().out.split())
    assert out == (
        "nobody told when this was done, so it is taken as done at its call: cover step 1, cover step 2"
        " cover step 3: done at 481.0 mJ/cm²"
    )
    assert daemon.path == "exposures/1/card"
