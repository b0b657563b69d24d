"""What the commands and the daemon's terminal say: hints that work, local times, units as people write them."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from uvdose.config import parse_settings
from uvdose.model import Refusal
from uvdose.units import plain_unit

from .conftest import SIMULATED, Daemon, Homed, argv, environment

EAST = "XST-5:45"  # a place whose clock shows 5:45 more than UTC
HINT = re.compile(r"`(uvdose [^`]*)`")


def _local(utc: str) -> str:
    """What a clock in EAST showed."""
    from datetime import datetime, timedelta

    return (datetime.fromisoformat(utc) + timedelta(hours=5, minutes=45)).strftime("%H:%M:%S")


def _typed(hint: str) -> int:
    """Run a hint as a person types it."""
    words = shlex.split(hint)[1:]
    return subprocess.run(argv(*words), capture_output=True, env=environment(), timeout=30).returncode


def test_a_hint_works_as_typed(daemon: Daemon) -> None:
    assert "begins" in (idle := daemon.run("target", "list").out) or "makes one" in idle
    assert f"`uvdose target set NAME --dose MJ_CM2 --home {daemon.folder}`" in idle
    assert daemon.call("target", "set", "blue", "--dose", "5000").code == 0
    assert daemon.call("expose", "blue").code == 0
    hint = HINT.search(daemon.run("expose", "blue").err)
    assert hint is not None and _typed(hint[1]) == 0
    assert '"finished"' in daemon.call("status", "--json").out
    assert daemon.run("undo", 1).code == daemon.run("undo", 1).code == 0
    assert '"void"' in daemon.call("status", "--json").out


def test_a_hint_names_a_home_only_where_the_call_did(home: Homed, tmp_path: Path) -> None:
    home.write(SIMULATED)
    assert f"`uvdose serve --home {home.folder}`" in home.run("status").err
    before = subprocess.run(
        argv("--home", home.folder, "status"), capture_output=True, text=True, env=environment(), timeout=30
    )
    assert f"`uvdose serve --home {home.folder}`" in before.stderr
    in_env = environment(UVDOSE_HOME=str(home.folder))
    bare = subprocess.run(argv("status"), capture_output=True, text=True, env=in_env, timeout=30)
    assert "`uvdose serve`" in bare.stderr
    odd = Homed(tmp_path / "my prints").write(SIMULATED)
    found = HINT.search(odd.run("status").err)
    assert found is not None and shlex.split(found[1])[-1] == str(odd.folder)
    assert "`uvdose day --help`" in home.run("day", "--nonsense").err


def test_undo_names_what_it_took_back(daemon: Daemon) -> None:
    assert daemon.call("target", "set", "blue", "--dose", "90000").code == 0
    for act in ("expose blue", "hold 1", "resume 1", "finish 1"):
        assert daemon.call(*act.split()).code == 0
    happened = {e["event"]: e["utc"] for e in map(json.loads, daemon.call("events", "--json").out.splitlines())}
    shown = [("finish", "finished", "counting"), ("resume", "resumed", "held"), ("hold", "held", "counting")]
    for act, event, state in shown:
        told = daemon.run("undo", 1, TZ=EAST).out
        assert re.match(rf"exposure 1: taken back: {act} of [\d:]{{8}}; it is {state} at ", told), told
        _near(told, happened[event])
    void = daemon.run("undo", 1, TZ=EAST).out
    assert "taken back: start of " in void and "it is void now and counts for nothing" in void
    _near(void, happened["started"])
    hint = HINT.search(void)
    assert hint is not None and shlex.split(hint[1])[1:3] == ["undo", "1"]
    assert daemon.run("undo", 1).out.startswith("exposure 1: the start taken back counts again; it is counting at ")
    assert "the start taken back counts again" in daemon.run("events").out


def _near(told: str, utc: str) -> None:
    """A label is told from the clock of now: within two seconds at the test's pace."""
    hours, minutes, seconds = map(int, re.search(r"of (\d\d):(\d\d):(\d\d)", told).groups())  # type: ignore[union-attr]
    h, m, s = map(int, _local(utc).split(":"))
    assert abs((hours - h) * 3600 + (minutes - m) * 60 + seconds - s) % 86400 in (0, 1, 2, 86398, 86399), (told, utc)


def test_persons_read_local_time_and_programs_utc(home: Homed) -> None:
    assert home.call("target", "set", "blue", "--dose", "100").code == 0
    made = json.loads(home.run("target", "show", "blue", "--json", TZ=EAST).out)[0]["made_utc"]
    assert made.endswith("Z") and _local(made) in home.run("target", "show", "blue", TZ=EAST).out
    assert "Z" not in home.run("target", "show", "blue", TZ=EAST).out


def test_the_daemons_terminal_is_in_local_time_and_repeats_say_so(tmp_path: Path) -> None:
    folder = tmp_path / "east"
    lost = '\n[[sensor]]\nname = "roof"\nlink = "serial"\nport = "/nowhere/at/all"\n'
    home = Homed(folder).write(SIMULATED + lost)
    serve = subprocess.Popen(
        argv("serve", "--pace", 20, "--home", folder), stdout=subprocess.PIPE, text=True, env=environment(TZ=EAST)
    )
    try:
        assert serve.stdout is not None
        _until(lambda: '"live"' in home.call("status", "--json").out)
        assert home.call("target", "set", "blue", "--dose", "100", "--no-overshoot").code == 0
        assert home.call("expose", "blue", "--sensor", "sill").code == 0
        time.sleep(12)  # the call sounds again after eight seconds
    finally:
        serve.terminate()
        out = serve.communicate(timeout=15)[0]
    lines = [line.rstrip("\a") for line in out.splitlines()]
    events = [json.loads(line) for line in home.call("events", "--json").out.splitlines()]
    alarm = next(e for e in events if e["event"] == "alarm" and e["sensor"] == "roof")
    assert next(line for line in lines if " alarm roof: " in line).startswith(f"{_local(alarm['utc'])}  alarm")
    reached = next(e for e in events if e["event"] == "reached")
    assert f"{_local(reached['utc'])}  CALL reached blue, frame 1, 100 %" in lines
    again = re.search(r"(\d\d:\d\d:\d\d)  CALL again: reached blue, frame 1, now (\d+) %, since (\d):(\d\d)\b", out)
    assert again is not None, out
    # 8 s at 20 times the pace are 160 s, in which 5 mW/cm² give some 800 % more.
    assert int(again[2]) > 500 and int(again[3]) * 60 + int(again[4]) >= 150 and again[1] != _local(reached["utc"])
    assert out.count("CALL reached") == 1


def _until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + 15
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.mark.parametrize(
    ("written", "plain"),
    [("mW/cm²", "mW/cm2"), ("µW/cm²", "uW/cm2"), ("\u03bcW/cm²", "uW/cm2"), ("W/m²", "W/m2"), ("mJ/cm²", "mJ/cm2"),
     ("V·s", "V.s"), ("counts·s", "counts.s"), ("counts.s", "counts.s"), ("mW/cm2", "mW/cm2")],
)  # fmt: skip
def test_units_as_people_write_them(home: Homed, written: str, plain: str) -> None:
    assert plain_unit(written) == plain
    if plain.endswith("s") or plain == "mJ/cm2":
        made = home.call("target", "set", "blue", "--dose", "100", "--unit", written, "--json")
        assert json.loads(made.out)["unit"] == plain, made
    else:
        text = f'[[sensor]]\nname = "a"\nlink = "simulated"\nunit = "{written}"\n'
        assert parse_settings(text, "x").sensor[0].unit == plain


def test_a_unit_that_is_none_is_told_as_it_was_written(home: Homed) -> None:
    home.run("target", "set", "blue", "--dose", "1", "--unit", "lux·h").refused(2, "unit", "counts.s")
    with pytest.raises(Refusal, match=r"sensor a\.unit"):
        parse_settings('[[sensor]]\nname = "a"\nlink = "simulated"\nunit = "lux"\n', "x")


def test_lines_in_another_format_say_what_came_and_what_to_set(serve, tmp_path: Path) -> None:
    said = b"".join(b"%d\tUV Index: %d.5 \x07 and much more that nobody needs to see in full here\n" % (i, i % 7)
                    for i in range(600))  # fmt: skip
    (tmp_path / "said.txt").write_bytes(said.replace(b"\x07", "é".encode()))
    settings = (
        f'[[sensor]]\nname = "sill"\nlink = "recording"\nfile = "{tmp_path}/said.txt"\nformat = "number"\n'
        '[web]\nlisten = "127.0.0.1:0"\n'
    )
    bench: Daemon = serve("wrong", settings)
    _until(lambda: "cannot be read" in bench.call("events").out)
    status = bench.run("status").out
    for told in (status, line := bench.stop().out):
        assert "what comes cannot be read (not a number), such as 'UV Index: " in told, told
        assert 'set format = "label" and field = "UV Index"' in told and "in full" not in told
    assert "alarm sill: what comes" in line and "lines could not be read, the last: not a number: 'UV Index: " in status


def test_a_file_is_replaced_only_by_force(home: Homed, tmp_path: Path) -> None:
    assert home.call("target", "set", "blue", "--dose", "100").code == 0
    path = tmp_path / "out.csv"
    path.write_text("mine")
    home.run("export", "--out", path).refused(4, "out.csv is there already", "--force")
    assert path.read_text() == "mine"
    forced = home.run("export", "--out", path, "--force")
    assert forced.code == 0 and path.read_text().startswith("id,") and "0 exposures written" in forced.err
    home.call("export", "--out", home.folder / "journal.sqlite3", "--force").refused(4, "the journal itself")
    home.call("export", "--out", tmp_path / "none" / "x").refused(4, "cannot be written", "No such file")
    home.call("export", "--out", tmp_path).refused(4, "is a folder")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["home", "out.csv"]
    piped = f"'{sys.executable}' -m uvdose export --out /dev/stdout --home '{home.folder}' | cat"
    done = subprocess.run(["bash", "-c", piped], capture_output=True, text=True, env=environment(), timeout=30)
    assert done.stdout.startswith("id,"), done
