"""`uvdose verdict` by commands: words, stops, densities; proposals taken or left; what cannot be judged."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Iterator

import pytest
from support.ptytalk import CTRL_C, CTRL_D, PtyTalk

from uvdose.calibrate.curve import SCurve

from .conftest import SIMULATED, Daemon, argv, environment

FULL = 61.0
PAPER = SCurve(0.06, 1.5, 3.0, math.log10(FULL) + math.log10(0.05 / 1.45) / 3.0)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """1: a tablet; 2: blue (typed), 3: blue, 4: measured (from the tablet), 5: void, 6: in the light."""
    daemon = Daemon(tmp_path_factory.mktemp("verdicts") / "home", SIMULATED, 20)
    try:
        daemon.wait_live()
        assert daemon.call("tablet", "plan", "--dose", 150, "--tablet", "13x0.15").code == 0
        assert daemon.call("tablet", "run", 1, "--count-in", 0, "--no-wait").code == 0
        _finish(daemon, 1)
        got = json.loads(daemon.call("tablet", "show", "--json").out)["exposure"]["dose"]
        shown = [f"{float(PAPER.density(math.log10(got / 10 ** (0.05 + 0.15 * i)))[0]):.2f}" for i in range(13)]
        ran = daemon.call("tablet", "read", 1, "--densities", " ".join(shown), "--accept", "measured")
        assert ran.code == 0, ran
        assert daemon.call("target", "set", "blue", "--dose", 60, "--paper", "rag").code == 0
        assert daemon.call("target", "set", "long", "--dose", 1e6).code == 0
        for number, target in ((2, "blue"), (3, "blue"), (4, "measured")):
            assert daemon.call("expose", target, "--lead", 0, "--label", f"fern{number}").code == 0
            _finish(daemon, number, 0.3 if target == "measured" else 1.0)
        for number in (5, 6):
            assert daemon.call("expose", "measured" if number == 5 else "long", "--frame", number).code == 0
        assert daemon.call("undo", 5).code == 0
        yield daemon
    finally:
        daemon.stop()


def _finish(daemon: Daemon, number: int, at: float = 1.0) -> None:
    end = time.monotonic() + 20
    while json.loads(daemon.call("status", "--json").out)["exposures"][number - 1]["fraction"] < at:
        assert time.monotonic() < end
        time.sleep(0.02)
    assert daemon.call("finish", number).code == 0


def _dose(bench: Daemon, number: int) -> float:
    return float(next(e for e in bench.told("status")["exposures"] if e["id"] == number)["dose"])


def _kept(bench: Daemon) -> tuple[str, str]:
    return bench.call("target", "show", "blue", "--json").out, bench.call("target", "show", "measured", "--json").out


@pytest.mark.parametrize(("words", "code", "why"), [
    (("99", "--tone", "dark"), 4, "99"), (("x", "--tone", "dark"), 2, "number"),
    (("5", "--tone", "dark"), 4, "exposure 5 is void: only a finished"),
    (("6", "--tone", "dark"), 4, "exposure 6 is counting: only a finished"),
    (("1", "--tone", "dark"), 4, "exposure 1 is tablet 1: read it with `uvdose tablet read"),
    (("2", "--tone", "purple"), 2, "light, right, dark"), (("2", "--highlights", "burnt"), 2, "blocked, right, blank"),
    (("2", "--stops", "nan"), 2, "-5 to 5"), (("2", "--stops", "9"), 2, "-5 to 5"),
    (("2", "--tone", "dark", "--stops", "-1"), 2, "contradict"),
    (("2", "--tone", "right", "--stops", "1"), 2, "contradict"),
    (("2", "--density", "nan"), 2, "0 to 5"), (("2", "--density", "7"), 2, "0 to 5"),
    (("2", "--tone", "dark", "--note", "a\nb"), 2, "printable"),
    (("2",), 2, "say what print 2 showed"), ((), 2, "print 2"),
])  # fmt: skip
def test_bad_input_changes_nothing(bench: Daemon, words: tuple[str, ...], code: int, why: str) -> None:
    before = _kept(bench)
    bench.call("verdict", *words).refused(code, why)
    assert _kept(bench) == before
    assert json.loads(bench.call("journal", "check", "--json").out)["counts"]["note"] == 3, "plan, reading, acceptance"


def test_leaving_at_a_question_keeps_nothing(bench: Daemon) -> None:
    for key in (CTRL_C, CTRL_D):
        with PtyTalk(argv("verdict", "--home", bench.folder), environment()) as talk:
            talk.talk((r"print 2, fern2: blue v1, washed and dry\s+1\. the tone.*: ", "grey"),
                      (r"one of.*\s+1\. the tone.*: ", "da"), (r"by how many stops.*: ", "-"))  # fmt: skip
            talk.wait_for(r"2\. the highlights")
            talk.press(key)
            assert talk.ends() == 130
    bench.call("verdict").refused(2, "print 2")


def test_verdicts_propose_and_only_acceptance_changes(bench: Daemon) -> None:
    printed = _dose(bench, 2)  # more than was asked, and on a slow machine more than that
    off = round(max(0.0, math.log2(printed / 60)) + 0.75, 2)
    ran = bench.call("verdict", 2, "--stops", off, "--highlights", "blank")
    assert ran.code == 0 and "nothing was changed; `uvdose verdict 2" in ran.out and "negative" in ran.out, ran
    assert len(bench.told("target", "show", "blue")) == 1
    told = bench.told("verdict", 2, "--tone", "dark", "--stops", off, "--accept")
    proposal, made = told["proposal"], told["target"]
    assert told["prints"] == [2] and proposal["change"] and printed / 2**off < proposal["dose"] < min(60, printed)
    assert (made["version"], made["dose"], made["basis"]) == (2, proposal["dose"], "verdicts of 2")
    assert made["low"] <= made["dose"] <= made["high"] and made["combination"]["paper"] == "rag"
    assert made["reason"] == proposal["sentence"]
    again = bench.told("verdict", "--highlights", "right")
    assert again["print"] == 3, "the oldest without a verdict" and again["target"] is None
    assert again["prints"] == [2, 3] or again["prints"] == [3] or not again["proposal"]["change"]


def test_a_density_tells_the_dose_where_a_curve_is_and_else_says_so(bench: Daemon) -> None:
    ran = bench.call("verdict", 3, "--density", 1.2)
    assert ran.code == 4 and "give --tone as well" in ran.err and "noted" in ran.err
    printed = _dose(bench, 4)
    told = bench.told("verdict", 4, "--density", round(float(PAPER.density(math.log10(printed))[0]), 2))
    assert told["prints"] == [4] and told["target"] is None and not told["proposal"]["change"]
    assert printed < FULL * 0.9 and told["proposal"]["low"] < FULL < told["proposal"]["high"]
    assert told["proposal"]["dose"] == pytest.approx(FULL, rel=0.1)
