"""The daemon's outlook is reckoned by another process: what becomes of one that fails or hangs."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.alone import alone
from support.june import SETTINGS, at_us, measured

from uvdose import apart, outlooks
from uvdose.clock import FixedClock
from uvdose.config import parse_settings
from uvdose.foretold import OutlookDoc
from uvdose.light.lies import ClearLight
from uvdose.model import Refusal
from uvdose.outlooks import Outlooks


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    measured(tmp_path / "journal.sqlite3", 4.0).close()
    return tmp_path / "journal.sqlite3"


def ask(journal: Path, clock: FixedClock, *times_s: float) -> list[OutlookDoc]:
    """Asked at once, and again after each of these seconds."""
    async def asking() -> list[OutlookDoc]:
        told = Outlooks(parse_settings(SETTINGS, "-"), journal, clock)
        found = [await told.outlook(["blue"], None, None, 1)]
        for seconds in times_s:
            clock.advance(seconds)
            found.append(await told.outlook(["blue"], None, None, 1))
        return found

    return alone(asking)


def test_it_is_shared_for_two_minutes(journal: Path) -> None:
    first, again, later = ask(journal, FixedClock(0, at_us(4.4)), 100.0, 100.0)
    assert first is again and first.targets[0].target == "blue" and later.utc > first.utc


def test_what_was_refused_is_not_reckoned_again_at_once(journal: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def asking() -> None:
        told = Outlooks(parse_settings(SETTINGS, "-"), journal, FixedClock(0, at_us(4.4)))
        with pytest.raises(Refusal, match="no target"):
            await told.outlook(["nobody"], None, None, 1)
        monkeypatch.setattr(apart.sys, "executable", "/nonexistent")
        with pytest.raises(Refusal, match="no target"):
            await told.outlook(["nobody"], None, None, 1)
        with pytest.raises(Refusal, match="could not be reckoned"):
            await told.outlook(["nobody"], None, None, 2)

    alone(asking)


def test_the_clear_light_is_what_clear_days_say(tmp_path: Path) -> None:
    """BSRN Payerne, 24 June 2016, a clear day, told from 1 to 23 June: its noon (47.5 W/m² over three such days, check
    values section 1) within 5 %; before a clear half hour was measured (2 June) nothing is told."""
    async def asking(day: float, folder: Path) -> dict[str, ClearLight]:
        measured(folder, day).close()
        return await Outlooks(parse_settings(SETTINGS, "-"), folder, FixedClock(0, at_us(day))).clear()

    told = alone(lambda: asking(24.25, tmp_path / "late.sqlite3"))
    noon = told["sill"].at(at_us(24.0) / 1e6 + 11.55 * 3600)
    assert noon is not None and noon[0] == pytest.approx(47.5, rel=0.05) and 0.3 < noon[1] < 0.45
    assert alone(lambda: asking(1.3, tmp_path / "early.sqlite3")) == {}


@pytest.mark.parametrize("script", ["exit 1", "echo rubbish", "cat", "sleep 600 & wait"])
def test_a_process_that_fails_or_hangs_is_a_refusal_and_gone(
    journal: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str
) -> None:
    program, number = tmp_path / "program", tmp_path / "number"
    program.write_text(f"#!/bin/sh\necho $$ > {number}\n{script}\n")
    program.chmod(0o700)
    monkeypatch.setattr(apart.sys, "executable", str(program))
    monkeypatch.setattr(outlooks, "LIMIT_S", 1.0)
    with pytest.raises(Refusal, match="could not be reckoned") as told:
        ask(journal, FixedClock(0, at_us(4.4)))
    assert told.value.code == 4
    assert not Path(f"/proc/{number.read_text().strip()}").exists(), "it runs no more"
