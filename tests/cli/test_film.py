"""`uvdose film`: measured at a real terminal while the light changes, out of the journal, and from typed readings."""

from __future__ import annotations

import contextlib
import json
import math
import time
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.ptynode import Lamp
from support.ptytalk import CTRL_C, CTRL_D, PtyTalk

from .conftest import SIMULATED, Daemon, Homed, argv, environment

SENSOR = '[[sensor]]\nname = "{name}"\nlink = "serial"\nport = "{port}"\nunit = "counts"\nscale = 0.01\n' \
         "full_scale = 1000000\nzero = 50.0\nzero_u = 1.0\n"  # fmt: skip
# sensor: density of its film, and the bare light before and after, counts
CASES = {"steady": (0.12, 40_000.0, 40_000.0), "dense": (1.30, 40_000.0, 40_000.0), "drift": (0.45, 40_000.0, 42_000.0)}


def _clock(wall_s: float) -> str:
    return time.strftime("%H:%M:%S", time.gmtime(wall_s))


@pytest.mark.timeout(90)
def test_three_films_live_and_the_same_out_of_the_journal(tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        lamps = {name: stack.enter_context(Lamp(tmp_path / name, rate_hz=10, zero=50.0)) for name in CASES}
        settings = "".join(SENSOR.format(name=name, port=tmp_path / name) for name in CASES)
        bench = stack.enter_context(RunningBench(tmp_path / "home", settings))
        bench.wait_live(*CASES)
        homed = Homed(bench.home.folder)
        talks = {
            name: stack.enter_context(PtyTalk(
                argv("film", "measure", name, "--part", "base", "--seconds", 4, "--sensor", name, "--home",
                     homed.folder), environment(),
            )) for name in CASES
        }  # fmt: skip
        spans: list[tuple[float, float]] = []
        for i, words in enumerate(("the sensor bare", "the film on the sensor", "the film off again")):
            for name, (density, before, after) in CASES.items():
                talks[name].wait_for(f"{words}: press Enter ")
                lamps[name].counts = (before, (before + after) / 2 * 10**-density, after)[i]
            time.sleep(0.3)  # three readings at least under the new light
            begun_s = time.time()
            for talk in talks.values():
                talk.send("")
            spans.append((math.ceil(begun_s), math.floor(begun_s + 5.0)))  # a second to settle, and four of readings
        for talk in talks.values():
            assert talk.ends() == 0, talk.said
            assert "a print confirms it" in " ".join(talk.said.split())
        kept = json.loads(homed.call("film", "list", "--json").out)
        at = [word for a, b in spans for word in ("--at", f"{_clock(a)}-{_clock(b)}")]
        for name, (density, before, after) in CASES.items():
            live = kept[name]["base"]
            assert live["low"] <= density <= live["high"], (name, live)
            assert live["best"] == pytest.approx(density, abs=0.002)
            half = live["high"] - live["low"]
            assert half > 0.02 if after != before else half < 0.01, "drift is told in the interval, and only there"
            ran = homed.run("film", "measure", f"{name}-again", "--part", "highlight", "--sensor", name, *at, "--json")
            assert ran.code == 0, ran
            found = json.loads(ran.out)
            assert found["density"]["low"] <= density <= found["density"]["high"]
            assert found["stops"]["best"] == pytest.approx(found["density"]["best"] / math.log10(2))
        starts = [time.time() + 600 * i for i in (1, 2, 3)]  # to come: so it was yesterday's that was meant
        late = [w for a in starts for w in ("--at", f"{_clock(a)}-{_clock(a + 60)}")]
        homed.run("film", "measure", "x", "--sensor", "steady", *late).refused(4, "only 0 readings of steady")
        homed.run("film", "measure", "x", *late).refused(2, "which sensor", "--sensor")


def _measured(home: Homed, name: str, part: str, density: float, drift: float = 0.0) -> None:
    film = 4.0 * 10**-density
    words = [w for v in (4.0 - drift, film, 4.0 + drift) for w in ("--reading", f"{v:.6f}")]
    ran = home.call("film", "measure", name, "--part", part, *words)
    assert ran.code == 0 and f"film {name}, {part}: density {density:.3f}" in ran.out, ran


def test_a_negative_against_a_paper(home: Homed) -> None:
    home.write(SIMULATED)
    _measured(home, "fern", "base", 0.10)
    home.call("film", "show", "fern", "--scale", 1.4).refused(4, "highlight")
    _measured(home, "fern", "highlight", 1.50)
    told = home.call("film", "show", "fern")
    assert "range      1.40" in told.out and "density 0.100" in told.out and "the sensor's own band" in told.out
    words = {1.4: ("fits", "this negative fits this paper"), 2.0: ("thin", "too thin"), 1.0: ("dense", "too dense")}
    for scale, (word, sentence) in words.items():
        assert sentence in " ".join(home.call("film", "show", "fern", "--scale", scale).out.split())
        assert json.loads(home.call("film", "show", "fern", "--scale", scale, "--json").out)["fit"]["word"] == word
    _measured(home, "cloudy", "shadow", 0.10, drift=0.5)
    _measured(home, "cloudy", "highlight", 1.50, drift=0.5)
    assert "too close to tell" in home.call("film", "show", "cloudy", "--scale", 1.35).out
    assert home.call("target", "set", "blue", "--dose", 2565).code == 0
    home.call("film", "show", "fern", "--target", "blue").refused(4, "knows no range", "--scale")
    home.call("film", "show", "fern", "--target", "blue", "--scale", 1.4).refused(2, "leave one out")
    home.call("film", "show", "fern", "--target", "green").refused(4, "no target", "green")
    home.call("film", "show", "moss").refused(4, "no film 'moss'", "known: fern, cloudy")
    home.call("film", "show", "fern", "--scale", "nan").refused(2, "above zero")
    assert [line.split()[0] for line in home.call("film", "list").out.splitlines()] == ["film", "fern", "cloudy"]


@pytest.mark.parametrize(("words", "code", "why"), [
    (("a b",), 2, "letters"), (("0.12",), 2, "taken for a density"), (("x", "--part", "middle"), 2, "base, highlight"),
    (("x", "--reading", "nan", "--reading", "1", "--reading", "2"), 2, "no readings that count"),
    (("x", "--reading", "4", "--reading", "3"), 2, "bare"), (("x", "--reading", "4,1"), 2, "such as 4.1"),
    (("x", "--reading", "0", "--reading", "0", "--reading", "0"), 4, "no light"),
    (("x", "--reading", "4", "--reading", "0", "--reading", "4"), 4, "stronger light"),
    (("x", "--reading", "4", "--reading", "3", "--reading", "9"), 4, "changed too much"),
    (("x", "--reading", "4", "--reading", "5", "--reading", "4"), 4, "more than the bare"),
    (("x", "--at", "25:00:00-26:00:00"), 2, "25:00:00"), (("x", "--at", "noon"), 2, "two times"),
    (("x", "--at", "1:00-2:00", "--reading", "3"), 2, "leave one out"),
    (("x",), 2, "--at, or readings with --reading"), (("x", "--seconds", "1"), 2, "3 to 600"), ((), 2, "NAME"),
])  # fmt: skip
def test_bad_input_keeps_nothing(home: Homed, words: tuple[str, ...], code: int, why: str) -> None:
    home.write(SIMULATED)
    home.call("target", "set", "blue", "--dose", 1)  # a journal is there
    home.call("film", "measure", *words).refused(code, why)
    assert json.loads(home.call("film", "list", "--json").out) == {}


def test_questions_at_a_terminal_and_leaving_keeps_nothing(daemon: Daemon) -> None:
    for key in (CTRL_C, CTRL_D):
        with PtyTalk(argv("film", "--home", daemon.folder), environment()) as talk:
            talk.talk((r"what is the film called: ", "a b"), (r"letters.*\s+what is the film called: ", "moss"),
                      (r"base, highlight or shadow \[base\]: ", "wrong"), (r"shadow\s+base, high.*: ", "shadow"))
            talk.wait_for("the sensor bare: press Enter ")
            talk.press(key)
            assert talk.ends() == 130 and "Traceback" not in talk.said
    assert json.loads(daemon.call("film", "list", "--json").out) == {}
