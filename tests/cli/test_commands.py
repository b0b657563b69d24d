"""The commands as a person and a program use them, on a real daemon with a simulated sensor."""

from __future__ import annotations

import json
import subprocess
import sys
import time

import pytest

from .conftest import SIMULATED, Daemon, Homed, argv, environment

SOMETIMES = ("look", "overshoot", "armed", "self-call")  # by what the light, and the node beside it, did meanwhile
EXPOSURE_KEYS = {
    "id", "target", "target_version", "sensor", "frame", "state", "unit", "target_dose", "dose", "dose_low",
    "dose_high", "fraction", "measured_s", "bridged_s", "missing_s", "started_utc", "reached_utc", "finished_utc",
    "eta_s", "alarms",
}  # fmt: skip


def wait_state(bench: Homed, exposure: int, state: str, seconds: float = 20) -> dict[str, object]:
    end = time.monotonic() + seconds
    while True:
        found = json.loads(bench.run("status", "--json").out)["exposures"]
        mine = next(e for e in found if e["id"] == exposure)
        if mine["state"] == state:
            return mine
        assert time.monotonic() < end, mine
        time.sleep(0.05)


def test_help_is_quick_and_imports_nothing_heavy() -> None:
    code = (
        "import sys; from uvdose.cli.app import run; run(['--help']);"
        "heavy = {'uvicorn', 'starlette', 'paho', 'numpy', 'rich', 'sqlite3', 'serial', 'urllib.request'};"
        "bad = heavy & set(sys.modules);"
        "sys.exit(repr(bad) if bad else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment(), timeout=30)
    assert done.returncode == 0, done.stderr
    assert "expose" in done.stdout and "╭" not in done.stdout


def test_the_home_is_given_before_after_or_by_the_environment(tmp_path) -> None:
    for where, words, env in (
        ("before", ["--home", tmp_path / "before", "target", "set", "t", "--dose", "5"], {}),
        (
            "after",
            ["--home", tmp_path / "before", "target", "set", "t", "--dose", "5", "--home", tmp_path / "after"],
            {},
        ),
        ("env", ["target", "set", "t", "--dose", "5"], {"UVDOSE_HOME": str(tmp_path / "env")}),
    ):
        assert not (tmp_path / where).exists()
        subprocess.run(argv(*words), check=True, capture_output=True, env=environment(**env), timeout=30)
        assert (tmp_path / where / "journal.sqlite3").exists()


def test_targets_are_versioned_without_a_daemon(home: Homed) -> None:
    home.write(SIMULATED)
    first = home.run(
        "target", "set", "blue", "--dose", 2565, "--paper", "rag", "--process", "iron", "--look", 0.5, "--look", 0.8
    )
    assert first.code == 0 and "blue v1" in first.out and "2565 mJ/cm²" in first.out and "sensor sill" in first.out
    second = home.run(
        "target", "set", "blue", "--dose", 2400, "--reason", "a sixth too dark", "--no-overshoot", "--json"
    )
    assert json.loads(second.out)["version"] == 2
    shown = json.loads(home.run("target", "show", "blue", "--json").out)
    assert [t["dose"] for t in shown] == [2565, 2400]
    assert shown[1]["combination"]["paper"] == "rag" and shown[1]["calls"]["looks"] == [0.5, 0.8]
    assert shown[0]["calls"]["overshoots"] and shown[1]["calls"]["overshoots"] == []
    assert [t["version"] for t in json.loads(home.run("target", "list", "--json").out)] == [2]
    text = home.run("target", "show", "blue").out
    assert "v1" in text and "v2" in text and "a sixth too dark" in text
    assert max(map(len, text.splitlines())) <= 100


def test_targets_go_through_the_daemon_when_it_answers(daemon: Daemon) -> None:
    assert daemon.run("target", "set", "blue", "--dose", 2565).code == 0
    assert json.loads(daemon.run("target", "set", "blue", "--dose", 2600, "--json").out)["version"] == 2


def test_an_exposure_from_start_to_review(daemon: Daemon) -> None:
    assert (
        daemon.run("target", "set", "blue", "--dose", 600, "--process", "iron", "--paper", "rag", "--lead", 20).code
        == 0
    )
    told = daemon.run("expose", "blue", "--frame", "north", "--label", "fern", "--look", 0.3, "--no-overshoot").out
    assert "exposure 1, fern: pencil 1 on the back of the sheet" in told
    for word in ("blue v1, 600.0 mJ/cm²", "north", "process  iron", "paper    rag", "██"):
        assert word in told, word
    shown = json.loads(daemon.run("status", "--json").out)["exposures"][0]
    assert shown.keys() >= EXPOSURE_KEYS and shown["state"] == "counting" and 0 < shown["eta_s"] < 125
    assert shown["eta_low_s"] <= shown["eta_s"] <= shown["eta_high_s"] and not shown["not_today"]
    held = daemon.run("hold", 1).out
    assert held.startswith("exposure 1: held at ") and "mJ/cm²" in held and "% of blue v1" in held
    before = wait_state(daemon, 1, "held")["dose"]
    time.sleep(0.4)
    assert wait_state(daemon, 1, "held")["dose"] == pytest.approx(before, abs=1e-9)
    assert json.loads(daemon.run("resume", 1, "--json").out)["state"] == "counting"
    wait_state(daemon, 1, "reached")
    assert "ENOUGH: TAKE IT IN" in daemon.run("status").out
    assert daemon.run("quiet", 1).out == "exposure 1: its call is silenced\n"
    daemon.run("quiet", 1).refused(4, "no call is on")
    assert daemon.run("finish", 1).out.startswith("exposure 1: finished at ")
    final = wait_state(daemon, 1, "finished")
    assert final["fraction"] >= 1 and final["missing_s"] == 0

    happened = [json.loads(line) for line in daemon.run("events", "--json").out.splitlines()]
    names = [e["event"] for e in happened if e["exposure"] == 1 and e["event"] not in SOMETIMES]
    assert names == ["started", "held", "resumed", "lead", "reached", "quieted", "finished"]
    [finished] = [e for e in happened if e["event"] == "finished"]
    assert final["dose"] == pytest.approx(finished["dose"], rel=0.02), "what is settled later is what was told then"
    assert [e["key"] for e in happened if e["event"] == "look"] == ["look:0.3"]
    assert [e["id"] for e in happened] == sorted({e["id"] for e in happened})
    last = happened[-1]["id"]
    assert daemon.run("events", "--after", last - 1, "--json").out.count("\n") == 1
    assert "reached" in daemon.run("events").out

    counted = daemon.run("recount", 1, "--json")
    assert counted.code == 0 and json.loads(counted.out)["same"] is True
    day = json.loads(daemon.run("day", "--json").out)
    assert [e["id"] for e in day["exposures"]] == [1] and day["exposures"][0]["dose"] == final["dose"]
    assert "fern" in daemon.run("day").out
    assert daemon.stop().code == 0
    # With the daemon gone the journal is still there to look back on.
    assert "the same, bit for bit" in daemon.run("recount", 1).out
    assert daemon.run("day", "--json").code == 0


def test_a_count_in_is_counted_down_and_begins_at_the_beat(daemon: Daemon) -> None:
    assert daemon.run("target", "set", "blue", "--dose", 60000).code == 0
    begun = time.monotonic()
    told = daemon.run("expose", "blue", "--count-in", 2)
    assert time.monotonic() - begun >= 2 and told.out.endswith("2 1 uncover now\n")
    shown = wait_state(daemon, 1, "counting")
    assert shown["measured_s"] < 40  # less than two real seconds at the daemon's pace of 20
    daemon.run("expose", "blue", "--frame", "2", "--count-in", 61).refused(2, "count-in 61")
    daemon.run("expose", "blue", "--frame", "2", "--count-in", 30, "--json")
    assert "taken back before it began" in daemon.run("finish", 2).out


def test_watch_shows_lines_ends_when_asked_and_when_the_daemon_goes(daemon: Daemon) -> None:
    assert daemon.run("target", "set", "blue", "--dose", 60000).code == 0
    assert daemon.run("expose", "blue").code == 0
    once = daemon.run("watch", "--once").out
    assert "sill  live  5." in once and "of 60000 mJ/cm²" in once and "left" in once and "┃" in once
    until = subprocess.Popen(
        argv("watch", "--until-finished", 1, "--home", daemon.folder),
        stdout=subprocess.PIPE,
        text=True,
        env=environment(),
    )
    follow = subprocess.Popen(
        argv("events", "--follow", "--json", "--home", daemon.folder), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, env=environment(),
    )  # fmt: skip
    assert follow.stdout is not None
    for act, event in (("", "started"), ("", "armed"), ("hold", "held"), ("finish", "finished")):
        assert not act or daemon.run(act, 1).code == 0
        assert json.loads(follow.stdout.readline())["event"] == event
    assert until.wait(10) == 0 and "finished" in until.communicate()[0]
    ended = daemon.stop()
    assert ended.code == 0
    out, err = follow.communicate(timeout=10)
    assert follow.returncode == 3 and out == "" and err.count("\n") == 1 and "has gone" in err
    assert "Traceback" not in ended.err, ended.err


def test_watch_is_a_live_screen_in_a_terminal(daemon: Daemon) -> None:
    import os
    import pty
    import signal

    child, end = pty.openpty()
    env = environment(TERM="xterm", NO_COLOR="1")
    watch = subprocess.Popen(argv("watch", "--home", daemon.folder), stdin=end, stdout=end, stderr=end, env=env)
    os.close(end)
    seen = b""
    deadline = time.monotonic() + 10
    while seen.count("mW/cm²".encode()) < 3:
        assert time.monotonic() < deadline, seen
        seen += os.read(child, 4096)
    watch.send_signal(signal.SIGINT)
    assert watch.wait(10) == 130
    os.close(child)
    assert b"\x1b[31m" not in seen and b"\x1b[1;31m" not in seen


def test_an_override_is_said_and_kept(serve) -> None:
    first: Daemon = serve("bench")
    first.wait_live()
    assert first.run("target", "set", "blue", "--dose", 5000).code == 0
    assert first.stop().code == 0
    first.write(SIMULATED.replace("0.0125", "0.0130"))
    second = Daemon(first.folder, SIMULATED.replace("0.0125", "0.0130"))
    try:
        second.wait_live()
        second.run("expose", "blue").refused(4, "scale was 0.0125, is 0.013", "--override")
        assert second.run("expose", "blue", "--override").code == 0
        day = second.run("day").out
        assert "proved with another sensor setting or light" in day and "it is not finished (counting)" in day
    finally:
        second.stop()
