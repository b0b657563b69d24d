"""What was said of a print stays said; no verdict takes a retired target into use; a target's basis is one line."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import pytest

from uvdose.asked import TargetRequest
from uvdose.calibrate.verdicts import Judgement, propose
from uvdose.cli import keeping
from uvdose.cli.asking import journal
from uvdose.cli.calibration import verdict
from uvdose.config import Home
from uvdose.exposure.setting import next_version
from uvdose.exposure.target import Target
from uvdose.notes import Verdict
from uvdose.review.judging import Judged

from .conftest import Daemon


def test_a_retired_target_stays_retired(daemon: Daemon) -> None:
    for words in (("target", "set", "blue", "--dose", 50), ("expose", "blue"), ("finish", 1),
                  ("verdict", 1, "--tone", "dark", "--stops", 1),
                  ("target", "retire", "blue", "--reason", "no more paper")):  # fmt: skip
        ran = daemon.run(*words)
        assert ran.code == 0, ran
    told = daemon.run("verdict", 1, "--tone", "dark", "--stops", 1.5)
    assert told.code == 0 and "--accept" not in told.out, told
    again = daemon.run("verdict", 1, "--tone", "dark", "--stops", 1, "--accept")
    assert again.code == 4 and "noted; but target blue is retired (no more paper)" in again.err, again
    assert "retired" in daemon.run("target", "list").out


def test_tone_and_highlights_may_be_judged_on_two_days(daemon: Daemon) -> None:
    for words in (("target", "set", "blue", "--dose", 50), ("expose", "blue"), ("finish", 1),
                  ("verdict", 1, "--tone", "dark", "--stops", 1, "--note", "wavy")):  # fmt: skip
        assert daemon.run(*words).code == 0, words
    later = daemon.run("verdict", 1, "--highlights", "blocked")
    assert "was too dark" in later.out and "highlights blocked" in later.out, later
    assert "was right" in daemon.run("verdict", 1, "--tone", "right").out
    with journal(Home(daemon.folder)) as store:
        assert store.notes(Verdict)["1"] == Verdict("right", highlights="blocked", text="wavy")


def test_many_verdicts_are_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[TargetRequest] = []
    monkeypatch.setattr(keeping, "keep_target", lambda _, request: asked.append(request))
    old = Target("blue", 3, 2000.0)
    prints = tuple(range(1000, 1300))
    judged = Judged(old, prints, propose(2000.0, None, [Judgement(2000.0, tone="dark")] * 300))
    verdict._take(cast(Home, SimpleNamespace()), judged)
    made = next_version(asked[0], old, [], "")
    assert made.basis.startswith("verdicts of 300 prints, the newest 1280, ") and made.basis.endswith(", 1299")
