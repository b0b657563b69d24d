"""Strips, tablets and editions by answering questions at a real terminal; left half done, and gone on with."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.bench import RunningBench
from support.ptynode import Lamp
from support.ptytalk import CTRL_C, CTRL_D, PtyTalk

from .conftest import SIMULATED, Daemon, Homed, argv, environment

LAMP = '[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{port}"\nunit = "counts"\nscale = 0.01\n'
DRAWN = re.compile(r"\x1b\[K([█▓░┃][^\r\n]*)")


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Daemon]:
    daemon = Daemon(tmp_path / "home", SIMULATED, 60)
    try:
        daemon.wait_live()
        yield daemon
    finally:
        daemon.stop()


def _talk(home: Homed, *words: object) -> PtyTalk:
    return PtyTalk(argv(*words, "--home", home.folder), environment())


def _sheet(home: Homed, kind: str, number: int = 1) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(home.call(kind, "show", number, "--json").out)
    return found


PLAN_STRIP = (
    (r"the dose you expect to be right, mJ/cm²: ", "lots"), (r"'lots' is not a number.*\s+the dose.*: ", "400"),
    (r"stops from step to step \[0\.5\]: ", "1"), (r"how many steps \[7\]: ", "3.5"),
    (r"'3\.5': type a whole.*\s+how many.*: ", "3"), (r"uncover them \[cover\]: ", "u"),
    (r"clear film.*lie over the sheet \[Y/n\]: ", "perhaps"), (r"yes or no\s+does the clear.*: ", "y"),
    (r"process \[-\]: ", "brown print"), (r"paper \[-\]: ", ""),
)


def test_a_strip_by_answers_alone_left_and_gone_on_with_at_each_state(tmp_path: Path) -> None:
    """The light is switched on only while something is to happen, so that no pause of the machine matters."""
    with Lamp(tmp_path / "node", pace=20.0) as lamp, RunningBench(
        tmp_path / "home", LAMP.format(port=tmp_path / "node"), 20.0
    ) as running:
        running.wait_live("sill")
        bench = Homed(running.home.folder)
        with _talk(bench, "strip") as talk:
            talk.talk(*PLAN_STRIP, (r"lay it in the light now \[Y/n\]: ", "n"))
            talk.wait_for(r"uvdose strip run 1 --home ")
            assert talk.ends() == 0
        planned = _sheet(bench, "strip")
        assert planned["state"] == "planned" and planned["note"]["noted"] == {"process": "brown print"}
        assert planned["note"]["plan"] == {"type": "strip", "doses": [200.0, 400.0, 800.0], "way": "uncover"}
        _exposed_with_pauses(bench, running, lamp)
    assert _sheet(bench, "strip")["state"] == "exposed"
    _read_in_the_end(bench)


def _exposed_with_pauses(bench: Homed, running: RunningBench, lamp: Lamp) -> None:
    def until(talk: PtyTalk, words: str) -> None:
        lamp.counts = 400.0  # 4 mW/cm², 80 mJ/cm² each second at this pace
        talk.wait_for(words)
        lamp.counts = 0.0

    with _talk(bench, "strip") as talk:
        talk.talk((r"go on with strip 1 \(planned\) \[Y/n\]: ", ""), (r"lay it in the light now \[Y/n\]: ", ""))
        talk.wait_for("At the start: uncover step 3, the others stay under the card")
        talk.wait_for("uncover now")
        talk.wait_for("next: uncover step 2 at 400")
        talk.send("")
        talk.wait_for(r"not yet: uncover step 2 at 400[^`]*`uvdose strip moved 1 --home ")
        talk.press(CTRL_C)
        talk.wait_for(r"it counts on:\s+`uvdose strip run 1 --home [\s\S]*strip moved 1[\s\S]*finish 1")
        assert talk.ends() == 130
    assert _sheet(bench, "strip")["state"] == "in the light"
    assert running.stop() == 0
    running.start()
    running.wait_live("sill")
    with _talk(bench, "strip") as talk:
        talk.talk((r"go on with strip 1 \(in the light\) \[Y/n\]: ", ""))
        until(talk, "NOW: uncover step 2 ")
        talk.send("")
        talk.wait_for("uncover step 2: done at")
        talk.press(CTRL_D)
        talk.wait_for("it counts on")
        assert talk.ends() == 130
    with _talk(bench, "strip") as talk:
        talk.talk((r"go on.*: ", ""), ("next: uncover step 1 at 600", ""), ("not yet: uncover step 1", ""))
        until(talk, "NOW: uncover step 1 ")
        talk.talk(("", ""), ("uncover step 1: done at", ""))
        until(talk, "NOW: cover it and take it in ")
        talk.send("")
        talk.wait_for("uvdose strip read 1")
        assert talk.ends() == 0
        drawn = DRAWN.findall(talk.said)
        assert max(map(len, drawn)) < 100, max(drawn, key=len)
    cards = [e for e in running.events(1) if e["event"] == "card"]
    assert len(cards) == 2


def _read_in_the_end(bench: Homed) -> None:
    with _talk(bench, "strip") as talk:
        talk.talk((r"go on with strip 1 \(exposed\) \[Y/n\]: ", ""), (r"read now \[Y/n\]: ", ""),
                  (r"how was it read: right, picks, density.* \[right\]: ", "g"), (r"the grey of each.*: ", "1 2 x"),
                  (r"'x' is not a number.*\s+the grey of each step.*: ", "200 150 90"), ("white card: ", "250"))
        assert talk.ends() == 4 and "read at least 5" in talk.said, "said, and nothing is kept"
    assert _sheet(bench, "strip")["state"] == "exposed"
    with _talk(bench, "strip") as talk:
        talk.talk((r"go on.*: ", ""), (r"read now.*: ", ""), (r"how was it read.*: ", ""),
                  (r"which step is right: ", "two"), (r"'two'.*\s+which step is right: ", "2"),
                  (r"make this the target \[Y/n\]: ", "n"))  # fmt: skip
        talk.wait_for("strip accept 1")
        assert talk.ends() == 0
    assert _sheet(bench, "strip")["state"] == "read"
    with _talk(bench, "strip") as talk:
        talk.talk((r"go on with strip 1 \(read\) \[Y/n\]: ", ""), (r"make this the target \[Y/n\]: ", ""),
                  (r"name of the target \[brown-print\]: ", "a b"), (r"letters.*\s+name of the target.*: ", ""))
        talk.wait_for("target brown-print v1: ")
        assert talk.ends() == 0
    assert _sheet(bench, "strip")["state"] == "accepted"
    with _talk(bench, "strip") as talk:
        talk.wait_for("the dose you expect", 10)  # nothing is left to go on with
        talk.press(CTRL_C)
        assert talk.ends() == 130


def test_a_tablet_by_answers_alone(bench: Daemon) -> None:
    with _talk(bench, "tablet") as talk:
        talk.talk((r"which tablet.* \[21x0\.15\]: ", ""), (r"the dose you expect.*: ", "60"),
                  (r"lie over the sheet \[y/N\]: ", ""), (r"the clear film of later prints.* \[-\]: ", "0,12"),
                  (r"process \[-\]: ", "iron blue"), (r"paper \[-\]: ", "rag"))  # fmt: skip
        talk.wait_for("caution  Keep potassium ferricyanide from acids")
        talk.talk((r"lay it in the light now.*: ", ""), ("NOW: cover it and take it in ", ""))
        assert talk.ends() == 0
    with _talk(bench, "tablet", "read") as talk:
        talk.talk((r"how was it read: picks, density, reflectance, grey \[picks\]: ", "pi"),
                  (r"last step that prints full tone: ", "0"), (r"whole number.*\s+last step.*: ", "4"),
                  (r"last step that shows any tone, - if all do \[-\]: ", "14"), (r"target \[Y/n\]: ", "y"),
                  (r"name of the target \[iron-blue\]: ", "blue"))  # fmt: skip
        talk.wait_for("target blue v1")
        assert talk.ends() == 0
    [target] = json.loads(bench.call("target", "show", "blue", "--json").out)
    # through step 4 and 5 of the tablet: halfway between 60 and 60/10^0.15, then through the film of density 0.12
    shown = _sheet(bench, "tablet")["exposure"]["dose"]
    assert target["dose"] == pytest.approx(shown / 10 ** (0.05 + 3.5 * 0.15) * 10**0.12, rel=1e-6)
    assert target["exposure_scale"] == pytest.approx(1.5) and target["combination"]["paper"] == "rag"


@pytest.mark.parametrize("key", [CTRL_C, CTRL_D])
def test_leaving_at_any_question_keeps_nothing(bench: Daemon, key: str) -> None:
    answers = [typed for _, typed in PLAN_STRIP if typed not in ("lots", "3.5", "perhaps")]
    prompts = ["expect", "stops from", "how many", "uncover them", "lie over", "process", "paper"]
    for stop in (0, 3, 6):
        with _talk(bench, "strip", "plan") as talk:
            talk.talk(*zip(prompts[:stop], answers, strict=False))
            talk.wait_for(prompts[stop])
            talk.press(key)
            assert talk.ends() == 130 and "Traceback" not in talk.said
    assert json.loads(bench.call("strip", "list", "--json").out) == []


def test_an_answer_is_asked_for_five_times_and_not_for_ever(bench: Daemon) -> None:
    with _talk(bench, "tablet", "plan", "--dose", 10, "--tablet", "21x0.15", "--no-film") as talk:
        talk.talk(*[(r"the clear film of later prints", "moss")][:1])
        talk.wait_for("no base of a film 'moss' was measured")
        assert talk.ends() == 4
    with _talk(bench, "strip", "plan") as talk:
        talk.talk(*[(r"expect to be right.*: ", "?")] * 5)
        talk.wait_for("not understood; say it with --around or --first")
        assert talk.ends() == 2


def test_an_edition_and_a_retired_target_by_answers(bench: Daemon) -> None:
    assert bench.call("target", "set", "blue", "--dose", 60).code == 0
    assert bench.call("target", "set", "brown", "--dose", 30).code == 0
    with _talk(bench, "edition") as talk:
        talk.talk(("what is the edition called: ", "spring fair"), (r"letters.*\s+what is.*: ", "fair"),
                  ("how many sheets: ", "none"), (r"whole number.*\s+how many sheets: ", "2"),
                  ("its target; for several layers.*: ", "blue brown"))  # fmt: skip
        talk.wait_for("edition fair: 2 sheets of blue v1, brown v1; begin with\\s+`uvdose expose --edition fair"
                      " --home ")
        assert talk.ends() == 0
    assert "next: sheet 1, layer 1" in bench.call("edition").out
    with _talk(bench, "target", "retire", "brown") as talk:
        talk.talk(("why: ", "paper is gone"))
        assert talk.ends() == 0
    bench.call("expose", "--edition", "fair", "--layer", 2).refused(4, "target brown is retired (paper is gone)")
    assert bench.call("expose", "--edition", "fair", "--frame", 2).code == 0
