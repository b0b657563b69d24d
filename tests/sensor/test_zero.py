"""`sensor zero` beside a real daemon and a node on a real pty, whose zero the test knows."""

from __future__ import annotations

import json
import threading
import time
import tomllib
from pathlib import Path

from cli.conftest import Daemon, Homed, argv, environment
from support.bench import RunningBench
from support.screentalk import ScreenTalk

from uvdose.config import Home
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.notes import ZeroTaken

from .conftest import Quiet, settings


def _store(bench: Daemon) -> Store:
    return Store(open_reading(Home(bench.folder).journal_file))


def _sensor(bench: Daemon) -> dict[str, object]:
    found: dict[str, object] = tomllib.loads((bench.folder / "uvdose.toml").read_text())["sensor"][0]
    return found


def test_a_zero_is_read_stored_noted_and_taken_at_once(bench: Daemon, lamp: Quiet) -> None:
    bench.call("target", "set", "blue", "--dose", 1e6)
    number = json.loads(bench.call("expose", "blue", "--json").out)["id"]
    bench.run("sensor", "zero", "sill").refused(4, f"exposure {number} is counted by sill", "hold or finish it first")
    bench.call("hold", number)
    lamp.counts, lamp.sd = 0.0, 0.0
    done = bench.run("sensor", "zero", "sill", "--seconds", 20)
    assert done.code == 0 and done.err == "", done
    assert "sill: zero 12 ± " in done.out and "was 0 ± 0 counts" in done.out
    # 12 counts x 0.0125 mW/cm² a count x 60 s
    assert "with the old zero a print was counted 9.000 mJ/cm² a minute too much" in done.out
    assert "stored; the daemon goes by it from now on; prints in the light keep what they began with" in done.out
    kept = (bench.folder / "uvdose.toml").read_text()
    assert "zero = 12.0    # in the dark\n" in kept and "scale = 0.0125   # by the maker\n" in kept
    assert "zero_u = " in kept.split("# where it listens")[0]
    (note,) = [n for _, n in _store(bench).note_history(ZeroTaken, "sill")]
    assert note.zero == 12 and note.old_zero == 0 and note.n >= 200 and note.seconds >= 20 and note.unit == "counts"
    (event,) = [e for e in _store(bench).events() if e.event == "settings"]
    assert event.sensor == "sill" and "zero was 0, is 12" in event.data["what"]
    lamp.counts = 600.0
    bench.wait_live()
    # a line that was under way while the lamp came on holds some of the dark
    RunningBench.wait_for(
        lambda: abs(json.loads(bench.call("status", "--json").out)["sensors"][0]["irradiance"] - 7.5) < 0.05, 5,
        "the light above the new zero",
    )
    # 12 counts are more than 0.5 % of 1023: what was proved with the old zero is void
    assert "until you confirm them or make a calibration print: blue" in done.out
    bench.call("expose", "blue", "--frame", 2).refused(4, "zero was 0, is 12")
    assert bench.call("target", "confirm", "blue", "--reason", "the zero is known better").code == 0
    # the print goes on with what it began with, and one that begins now with the new zero
    bench.call("resume", number)
    second = json.loads(bench.call("expose", "blue", "--frame", 2, "--json").out)["id"]
    for one in (number, second):
        assert bench.call("finish", one).code == 0
    store = _store(bench)
    assert [store.exposure(n).plan.response.zero for n in (number, second)] == [0.0, 12.0]
    assert [store.exposure(n).identity.zero for n in (number, second)] == [0.0, 12.0]
    time.sleep(1.0)
    for one in (number, second):
        assert "the same, bit for bit" in bench.call("recount", one).out


def test_what_is_not_dark_is_refused(bench: Daemon, lamp: Quiet) -> None:
    lamp.counts, lamp.sd = 700.0, 0.5
    bench.run("sensor", "zero", "sill", "--seconds", 5).refused(4, "is not dark", "away from the last zero", "--force")
    assert _sensor(bench)["zero"] == 0.0 and _store(bench).notes(ZeroTaken) == {}
    forced = bench.run("sensor", "zero", "sill", "--seconds", 5, "--force", "--json")
    assert forced.code == 0 and json.loads(forced.out)["forced"] is True
    assert _store(bench).notes(ZeroTaken)["sill"].forced


def test_light_that_moves_is_no_dark(bench: Daemon, lamp: Quiet) -> None:
    lamp.counts, lamp.sd = 40.0, 0.0
    ended = threading.Event()

    def move() -> None:  # all the while, since nobody knows when the command begins to read
        while not ended.wait(0.3):
            lamp.counts = 40.0 - lamp.counts

    mover = threading.Thread(target=move)
    mover.start()
    try:
        bench.run("sensor", "zero", "sill", "--seconds", 30).refused(4, "is not dark", "it moved by")
    finally:
        ended.set()
        mover.join()
    assert _sensor(bench)["zero"] == 0.0


def test_wrong_calls_and_a_silent_sensor(bench: Daemon, lamp: Quiet) -> None:
    bench.call("sensor", "zero", "porch").refused(2, "no sensor 'porch'", "sill")
    bench.call("sensor", "zero", "sill", "--seconds", "nan").refused(2, "--seconds")
    bench.call("sensor", "zero", "sill", "--seconds", 0.5).refused(2, "--seconds")
    lamp.unplug()
    bench.run("sensor", "zero", "sill", "--seconds", 3).refused(4, "sensor sill is ")


def test_a_settings_file_that_cannot_be_written(bench: Daemon, lamp: Quiet) -> None:
    lamp.counts, lamp.sd = 0.0, 0.0
    path = bench.folder / "uvdose.toml"
    path.chmod(0o444)
    done = bench.run("sensor", "zero", "sill", "--seconds", 3)
    assert done.code == 4 and "read-only, and nothing was changed" in done.err and "zero = 12.0" in done.err
    assert "zero 12 ± " in done.out and len(done.err.splitlines()) == 1
    assert _store(bench).notes(ZeroTaken) == {}


def test_without_a_daemon(tmp_path: Path) -> None:
    home = Homed(tmp_path / "alone").write(settings(tmp_path))
    for words in (("zero", "sill"), ("watch",), ("check",), ("scale", "sill", "--known", 5)):
        home.call("sensor", *words).refused(3, "no daemon runs", "uvdose serve")


def test_at_a_terminal_it_asks_for_the_cap(bench: Daemon, lamp: Quiet) -> None:
    talk = ScreenTalk(argv("sensor", "zero", "sill", "--home", bench.folder), environment(TERM="xterm"))
    try:
        talk.wait_for("Cap the sensor")
        talk.wait_for(r"capped\? press Enter")
        lamp.counts, lamp.sd = 0.0, 0.0
        talk.send("\r")
        talk.wait_for(r"\d+ of 20 s, 12 counts")
        talk.wait_for("sill: zero 12 ± 0.29 counts")  # a whole count as a rectangle: 1/sqrt(12)
        talk.wait_for("stored; the daemon goes by it from now on")
        assert talk.wait() == 0
        talk.close()
        talk = ScreenTalk(argv("sensor", "zero", "sill", "--home", bench.folder), environment(TERM="xterm"))
        talk.wait_for(r"capped\? press Enter")
        talk.send("\x03")
        assert talk.wait() == 130
    finally:
        talk.close()
    assert _sensor(bench)["zero"] == 12.0
    assert len(_store(bench).note_history(ZeroTaken, "sill")) == 1
