"""`uvdose watch` at a real terminal: the light drawn, keys obeyed, the terminal given back whatever ends it."""

from __future__ import annotations

import os
import signal
import subprocess
import termios
import time
from collections.abc import Callable, Iterator

import pytest
from support.screentalk import ScreenTalk

from .conftest import Daemon, argv, environment

Watch = Callable[..., ScreenTalk]


@pytest.fixture
def watch() -> Iterator[Watch]:
    """`watch(daemon, *words, rows, cols, **env)` at a terminal."""
    open_ones: list[ScreenTalk] = []

    def begin(daemon: Daemon, *words: object, rows: int = 30, cols: int = 100, **env: str) -> ScreenTalk:
        places = environment(**({"TERM": "xterm-256color"} | env))
        del places["COLUMNS"]
        places.pop("NO_COLOR", None) if "NO_COLOR" not in env else None
        open_ones.append(ScreenTalk(argv("watch", "--home", daemon.folder, *words), places, rows, cols))
        return open_ones[-1]

    yield begin
    for one in open_ones:
        one.close()


@pytest.fixture
def printing(daemon: Daemon) -> Daemon:
    """A daemon with a print in the light, far from its target."""
    assert daemon.call("target", "set", "blue", "--dose", "90000").code == 0
    assert daemon.call("expose", "blue", "--label", "endpaper").code == 0
    return daemon


def test_the_light_is_drawn_and_keys_act(printing: Daemon, watch: Watch) -> None:
    talk = watch(printing)
    talk.wait_for(r"[▁▂▃▄▅▆▇█]{2,}\s+10 min, top 5\.\d+ mW/cm²")
    talk.wait_for("h hold   r resume   f finish   u undo   q quiet   Ctrl-C leaves")
    talk.send("h")
    talk.wait_for(r"exposure 1: held at")
    talk.send("r")
    talk.wait_for(r"exposure 1: counting at")
    talk.send("q")
    talk.wait_for("no call is on; nothing to silence")
    talk.send("\x1b[A\x1b[1;5C\x1bOH")  # arrows and Home
    talk.send("f")
    talk.wait_for(r"exposure 1: finish\? y: yes; any other key: no")
    talk.send("n")
    talk.wait_for("nothing was done")
    talk.send("f")
    talk.wait_for(r"finish\?")
    talk.send("y")
    talk.wait_for("exposure 1: finished at")
    talk.send("u")
    talk.wait_for(r"exposure 1: take its newest act back\? y")
    talk.send("y")
    talk.wait_for("exposure 1: counting at")
    talk.send("c")
    talk.wait_for("exposure 1 is no test strip")
    talk.send("\x03")
    assert talk.wait() == 130 and talk.is_restored()
    for given_back in ("\x1b[?1049l", "\x1b[?25h"):  # screen and cursor
        talk.wait_raw(given_back)
    acts = [line for line in printing.run("events").out.splitlines() if "exposure 1" in line]
    told = [line.split()[2] for line in acts if line.split()[2] != "armed"]
    assert told[:4] == ["started", "held", "resumed", "finished"]


def test_what_was_typed_before_the_question_does_not_answer_it(printing: Daemon, watch: Watch) -> None:
    talk = watch(printing)
    talk.wait_for("Ctrl-C leaves")
    talk.send("fy")
    talk.wait_for(r"finish\? y: yes")
    assert "finished" not in printing.run("events").out


def test_one_of_several_is_chosen_by_its_number(printing: Daemon, watch: Watch) -> None:
    assert printing.call("expose", "blue", "--frame", "2").code == 0
    talk = watch(printing)
    talk.wait_for(r" 1  1  endpaper  frame 1")
    talk.wait_for(r">2  2  frame 2")  # the newest, until another is chosen
    talk.send("1")
    talk.wait_for(r">1  1  endpaper")
    talk.send("h")
    talk.wait_for("exposure 1: held at")
    talk.send("2")
    talk.wait_for(r">2  2  frame 2")
    talk.send("h")
    talk.wait_for("exposure 2: held at")


def test_a_window_of_another_size_is_drawn_anew(printing: Daemon, watch: Watch) -> None:
    talk = watch(printing, rows=30, cols=100)
    talk.wait_for("10 min, top")
    talk.resize(8, 40)
    talk.wait_for("… more than fits")
    talk.send("h")
    talk.wait_for(r"exposure 1: held at")
    lines = talk.plain[-3000:].split("\n")
    assert max(map(len, lines[-8:])) <= 100
    talk.resize(30, 100)
    talk.send("r")
    talk.wait_for("10 min, top")


@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129), (signal.SIGINT, 130)])
def test_the_terminal_is_given_back(printing: Daemon, watch: Watch, number: signal.Signals, code: int) -> None:
    talk = watch(printing)
    talk.wait_for("Ctrl-C leaves")
    assert not talk.is_restored(), "keys are read one by one"
    os.kill(talk.process.pid, number)
    assert talk.wait() == code and talk.is_restored()
    talk.wait_raw("\x1b[?1049l")


def test_a_terminal_that_stands_still_does_not_hold_it(printing: Daemon) -> None:
    """Nobody reads what is drawn, as with Ctrl-S or a dead ssh: Ctrl-C ends it all the same."""
    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    places = environment(TERM="xterm")
    words = argv("watch", "--home", printing.folder)
    watch = subprocess.Popen(words, stdin=slave, stdout=slave, stderr=slave, env=places)
    try:
        end = time.monotonic() + 20
        while termios.tcgetattr(slave) == before:
            assert time.monotonic() < end
            time.sleep(0.05)
        time.sleep(3)  # a few drawings fill it
        watch.send_signal(signal.SIGINT)
        assert watch.wait(15) == 130
        assert termios.tcgetattr(slave) == before and os.get_blocking(slave)
    finally:
        watch.kill()
        os.close(master)
        os.close(slave)


def test_a_daemon_that_ends_gives_the_terminal_back(printing: Daemon, watch: Watch) -> None:
    talk = watch(printing)
    talk.wait_for("Ctrl-C leaves")
    assert printing.stop().code == 0
    talk.wait_for("uvdose: no daemon runs for home")
    assert talk.wait() == 3 and talk.is_restored()
    assert "Traceback" not in talk.plain


def test_until_finished_leaves_the_last_state_behind(printing: Daemon, watch: Watch) -> None:
    talk = watch(printing, "--until-finished", "1")
    talk.wait_for("Ctrl-C leaves")
    talk.send("f")
    talk.wait_for(r"finish\?")
    talk.send("y")
    assert talk.wait() == 0 and talk.is_restored()
    talk.wait_for(r"sill  live.*\n1  .*finished")  # plain lines, which stay


def test_no_color_is_no_colour(printing: Daemon, watch: Watch) -> None:
    import re

    talk = watch(printing, NO_COLOR="1")
    talk.send("q")
    talk.wait_for("nothing to silence")
    colours = [c for found in re.findall(r"\x1b\[([0-9;]*)m", talk.text) for c in found.split(";") if c]
    assert colours and not [c for c in colours if c in ("38", "48") or (30 <= int(c) <= 49 and c != "39" and c != "49")]


@pytest.mark.parametrize("term", ["dumb", "unknown"])
def test_a_terminal_that_cannot_be_drawn_over_gets_plain_lines(printing: Daemon, watch: Watch, term: str) -> None:
    talk = watch(printing, TERM=term)
    talk.wait_for(r"sill  live  5")
    talk.wait_for(r"1  █|1  ░")
    assert "\x1b[?1049h" not in talk.text
    talk.send("\x03")
    assert talk.wait() == 130


def test_a_strip_says_what_comes_next_and_hears_of_the_card(daemon: Daemon, watch: Watch) -> None:
    plan = ("strip", "plan", "--around", "300", "--count", "4", "--process", "iron blue", "--paper", "rag")
    assert daemon.call(*plan).code == 0
    talk = ScreenTalk(argv("strip", "run", "1", "--home", daemon.folder), environment(TERM="xterm"))
    talk.wait_for("next: cover step 1")
    talk.send("\x03")
    assert talk.wait() == 130
    talk.close()
    talk = watch(daemon)
    talk.wait_for("c card moved")
    talk.wait_for("NOW: cover step 1", 30)
    talk.send("c")
    talk.wait_for("next: cover step 2|NOW: cover step 2")
    assert daemon.run("events").out.count("card") == 1


def test_with_its_input_closed_it_only_shows(printing: Daemon, watch: Watch) -> None:
    words = ["sh", "-c", 'exec "$@" </dev/null', "sh", *argv("watch", "--home", printing.folder)]
    places = environment(TERM="xterm")
    del places["COLUMNS"]
    talk = ScreenTalk(words, places)
    try:
        talk.wait_for("10 min, top")
        os.kill(talk.process.pid, signal.SIGINT)
        assert talk.wait() == 130
    finally:
        talk.close()
