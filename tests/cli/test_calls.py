"""`uvdose call test` as a person runs it: one line for each way, and an exit code that a script can go by."""

from __future__ import annotations

import json
import os
import signal
from pathlib import Path

from support.screentalk import ScreenTalk

from .conftest import SIMULATED, Daemon, Homed, argv, environment

MOMENTARY = """\
[[sensor]]
name = "roof"
link = "recording"
file = "readings.txt"
format = "number"
[web]
listen = "127.0.0.1:0"
"""


def test_with_the_node_alone_it_is_well(daemon: Daemon) -> None:
    done = daemon.run("call", "test")
    assert done.code == 0 and done.err == "", done
    lines = [line.split()[:3] for line in done.out.splitlines()]
    assert lines == [["buzzer", "sill", "worked"], ["terminal", "-", "not"], ["desktop", "-", "not"],
                     ["mqtt", "-", "not"], ["push", "-", "not"]]  # fmt: skip
    told = json.loads(daemon.call("call", "test", "--json").out)
    assert told["worked"] is True
    assert [(w["way"], w["worked"]) for w in told["ways"]] == [
        ("buzzer", True), ("terminal", None), ("desktop", None), ("mqtt", None), ("push", None),
    ]


def test_what_does_not_work_ends_with_4(serve: object, tmp_path: Path) -> None:
    daemon: Daemon = serve("failing", SIMULATED + '[call]\npush_file = "nowhere"\n')  # type: ignore[operator]
    daemon.wait_live()
    done = daemon.run("call", "test")
    assert done.code == 4 and "push              FAILED" in done.out and "nowhere cannot be read" in done.out
    assert done.err == "uvdose: these ways to call you did not work: push\n"
    done = daemon.call("call", "test", "--way", "push", "--json")
    assert done.code == 4 and json.loads(done.out)["worked"] is False
    done = daemon.run("call", "test", "--way", "desktop")
    assert done.code == 4 and "not set up: desktop = true under [call]" in done.err
    daemon.call("call", "test", "--way", "pigeon").refused(2, "no way 'pigeon'; one of buzzer, terminal")
    assert "calls do not go out by push" in daemon.call("status").out
    assert "  calls  " in daemon.call("events").out


def test_where_no_way_is_set_up_it_says_so(serve: object, tmp_path: Path) -> None:
    folder = tmp_path / "momentary"
    folder.mkdir()
    (folder / "readings.txt").write_text("1.0\n" * 5)
    daemon: Daemon = serve("momentary", MOMENTARY)  # type: ignore[operator]
    done = daemon.run("call", "test")
    assert done.code == 4 and "no way to call you is set up" in done.err


def test_without_a_daemon(home: Homed) -> None:
    home.write(SIMULATED).run("call", "test").refused(3, "no daemon runs")


def test_the_daemons_own_terminal_rings(home: Homed) -> None:
    home.write(SIMULATED)
    talk = ScreenTalk(argv("serve", "--home", home.folder), environment(TERM="xterm"))
    try:
        talk.wait_for("ready http")
        done = home.run("call", "test", "--way", "terminal")
        assert done.code == 0 and "terminal          worked" in done.out, done
        talk.wait_for("this is a test call\a")
        os.kill(talk.process.pid, signal.SIGTERM)
        assert talk.wait() == 0
    finally:
        talk.close()


def test_a_terminal_without_its_bell(home: Homed) -> None:
    home.write(SIMULATED + "[call]\nterminal = false\n")
    talk = ScreenTalk(argv("serve", "--pace", "20", "--home", home.folder), environment(TERM="xterm"))
    try:
        talk.wait_for("ready http")
        home.call("target", "set", "blue", "--dose", "60", "--lead", "0")
        while home.call("expose", "blue").code != 0:
            pass
        talk.wait_for("CALL reached blue")
        assert "\a" not in talk.text
        assert home.call("call", "test", "--way", "terminal").code == 4
    finally:
        talk.close()
