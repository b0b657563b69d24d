"""`sensor check` and `sensor watch`, with a person at a real terminal and without, beside a node on a real pty."""

from __future__ import annotations

import json
import threading
import time

import pytest
from cli.conftest import Daemon, argv, environment
from support.screentalk import ScreenTalk

from uvdose.cli.sensor.watch import of_full_scale
from uvdose.config import Home, SensorSettings
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.notes import Check

from .conftest import Quiet


def _kept(bench: Daemon) -> Check:
    return Store(open_reading(Home(bench.folder).journal_file)).notes(Check)["sill"]


def _talk(bench: Daemon, *words: object) -> ScreenTalk:
    return ScreenTalk(argv(*words, "--home", bench.folder), environment(TERM="xterm"))


def test_a_morning_step_by_step(bench: Daemon, lamp: Quiet) -> None:
    bench.run("sensor", "zero", "sill", "--seconds", 3)  # refused: it is not dark
    talk = _talk(bench, "sensor", "check")
    try:
        talk.wait_for(r"alive     ok        alive, 10 a second, quiet; at 60 % of full scale|alive     ok        alive")
        talk.wait_for("does it lie in full sun now")
        talk.send("y\r")
        talk.wait_for(r"headroom  ok        60 % of full scale, now: 0.\d stops of room")
        talk.wait_for("hold your hand close over the sensor, and press Enter")
        lamp.counts = 20.0
        talk.send("\r")
        talk.wait_for("take it away, and press Enter")
        talk.send("\r")
        talk.wait_for(r"hand      ok        the light fell by 9\d % under it")
        talk.wait_for("capped\\? press Enter")
        lamp.counts, lamp.sd = 0.0, 0.0
        talk.send("\r")
        talk.wait_for(r"zero      NOT OK    \+12 counts since the last zero, 9.000 mJ/cm² a minute in a print")
        talk.wait_for("did you hear the buzzer")
        assert lamp.buzzes
        talk.send("y\r")
        talk.wait_for("buzzer    ok        heard")
        talk.wait_for("uvdose: sensor sill: not ok: zero")
        assert talk.wait() == 4
    finally:
        talk.close()
    kept = _kept(bench)
    assert [(s.step, s.ok) for s in kept.steps] == [
        ("alive", True), ("headroom", True), ("hand", True), ("zero", False), ("buzzer", True),
    ]


def test_without_a_hand(bench: Daemon, lamp: Quiet) -> None:
    done = bench.run("sensor", "check", "--no-ask", "--json")
    told = json.loads(done.out)
    assert done.code == 0 and told["ok"] is True and told["sensor"] == "sill", done
    assert [(s["step"], s["ok"]) for s in told["steps"]] == [
        ("alive", True), ("headroom", True), ("hand", None), ("zero", None), ("buzzer", True),
    ]
    assert len(_kept(bench).steps) == 5
    lamp.counts = 1000.0
    time.sleep(1.2)
    done = bench.run("sensor", "check")
    assert done.code == 4 and "headroom  NOT OK" in done.out and "not ok: " in done.err and "headroom" in done.err
    assert "hand      not done" in done.out


def test_a_node_that_does_not_sound_and_one_that_is_gone(bench: Daemon, lamp: Quiet) -> None:
    answer = lamp.node.command
    lamp.node.command = lambda line, now_ms: [] if b"buzz" in line else answer(line, now_ms)  # type: ignore[method-assign]
    done = bench.run("sensor", "check", "--no-ask")
    assert done.code == 4 and "buzzer    NOT OK    the node does not answer" in done.out, done
    assert done.err == "uvdose: sensor sill: not ok: buzzer\n"
    lamp.unplug()
    done = bench.run("sensor", "check", "--no-ask", timeout=60)
    assert done.code == 4 and "alive     NOT OK    sensor sill is " in done.out, done
    assert "alive" in done.err and len(done.err.splitlines()) == 1
    bench.call("sensor", "check", "attic").refused(2, "no sensor 'attic'")


def test_watched_where_there_is_no_terminal(bench: Daemon, lamp: Quiet) -> None:
    done = bench.run("sensor", "watch", "--seconds", 3)
    assert done.code == 0, done
    *plain, verdict, detail = done.out.splitlines()
    assert len(plain) >= 2 and all(line.startswith("sill  6") and "mW/cm²" in line for line in plain)
    assert verdict == "sill: alive, 10 a second, quiet; at 60 % of full scale", done
    assert "noise" in detail and "the light's own change" in detail
    watched = bench.run("sensor", "watch", "sill", "--seconds", 2, "--json").out
    told = [json.loads(line) for line in watched.splitlines()]
    last = told[-1]["sensors"][0]
    # one line's level is the mean of ten samples a tenth of a second apart, whose noise the test drew: 1.5 counts
    assert last["name"] == "sill" and 1.0 < last["noise"] < 2.0 and abs(last["rate_hz"] - 10) < 0.3
    assert last["saturated_share"] == 0 and abs(last["value"] - 612) < 8 and abs(last["irradiance"] - 7.65) < 0.1
    bench.call("sensor", "watch", "attic").refused(2, "no sensor 'attic'")
    bench.call("sensor", "watch", "--seconds", "nan").refused(2, "--seconds")


def test_watched_at_a_terminal_until_ctrl_c(bench: Daemon, lamp: Quiet) -> None:
    lamp.counts, lamp.sd = 1015.0, 0.0
    talk = _talk(bench, "sensor", "watch")
    try:
        talk.wait_for("sill  1023 counts  12.79 mW/cm²  10 a second")
        time.sleep(1.0)
        talk.send("\x03")
        talk.wait_for(r"sill: .*at full scale 100 % of the time: its dose is then a lower bound")
        assert talk.wait() == 0
    finally:
        talk.close()


def test_a_silent_sensor_is_told_as_such(bench: Daemon, lamp: Quiet) -> None:
    lamp.unplug()
    threading.Event().wait(1.5)
    done = bench.run("sensor", "watch", "--seconds", 3)
    assert done.code == 0 and "sill: " in done.out and "alive" not in done.out, done


def test_a_share_of_full_scale_is_of_the_light_alone() -> None:
    """A part that says 1.0 V in the dark and 2.8 V at most (data sheet ML8511): half of its light is 1.9 V."""
    sensor = SensorSettings(name="sill", link="simulated", unit="V", zero=1.0, full_scale=2.8)
    assert [of_full_scale(v, sensor) for v in (0.99, 1.0, 1.9, 2.8)] == pytest.approx([0, 0, 0.5, 1])
    assert of_full_scale(1.9, SensorSettings(name="sill", link="simulated")) is None
