"""What a person can get wrong: each is one line on standard error that says what to do, and an exit code.

One of each sort is a process of its own, where nothing may come after that line; the others are calls.
"""

from __future__ import annotations

import json
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from .conftest import SIMULATED, Daemon, Homed, argv, environment

WRONG, NO_DAEMON, REFUSED = 2, 3, 4

MALFORMED = [
    ("[bench\n", ("TOML",)),
    ("[[sensor]]\nlink = 'simulated'\n", ("sensor[0].name", "is missing")),
    ("[[sensor]]\nname = 'a'\nlink = 'radio'\n", ("sensor a.link", "serial, mqtt")),
    ("[[sensor]]\nname = 'a'\nlink = 'simulated'\nscale = 'high'\n", ("sensor a.scale", "a number")),
    ("[[sensor]]\nname = 'a'\nlink = 'simulated'\nscale = -1.0\n", ("sensor a.scale", "above 0")),
    ("[[sensor]]\nname = 'a'\nlink = 'simulated'\nscale = 1e-300\n", ("sensor a.scale", "above 0")),
    ("[[sensor]]\nname = 'a'\nlink = 'simulated'\nscale = 1e300\n", ("sensor a.scale", "above 0")),
    ("[[sensor]]\nname = 'a'\nlink = 'simulated'\nzero = 1e308\n", ("sensor a.zero", "dark reading")),
    ("[[sensor]]\nname = 'a'\nlink = 'simulated'\nzer = 1\n", ("zer", "no such key")),
    ("[[sensor]]\nname = 'a'\nlink = 'simulated'\n" * 2, ("sensor a", "twice")),
    ("[[sensor]]\nname = 'my sill'\nlink = 'simulated'\nport = 3\n", ("sensor[0].port", "text")),
    ("[[sensor]]\nname = 'a'\nlink = 'mqtt'\ntopic = 'x'\n", ("mqtt", "host and port")),
    ("[web]\nlisten = 'here'\n[[sensor]]\nname = 'a'\nlink = 'simulated'\n", ("web.listen", "host:port")),
    ("[bench]\nname = 'x'\n", ("sensor", "[[sensor]]")),
]


@pytest.mark.parametrize(("settings", "words"), MALFORMED, ids=[w[0] for _, w in MALFORMED])
def test_malformed_settings_name_file_key_and_mend(home: Homed, settings: str, words: tuple[str, ...]) -> None:
    told = home.write(settings).call("serve")
    told.refused(REFUSED, "uvdose.toml", *words)
    assert "name = 'a'" not in settings or "sensor[" not in told.err


@pytest.mark.parametrize(("settings", "words"), [MALFORMED[0], MALFORMED[5]], ids=["TOML", "scale"])
def test_a_daemon_that_cannot_start_leaves_one_line(home: Homed, settings: str, words: tuple[str, ...]) -> None:
    home.write(settings).run("serve").refused(REFUSED, "uvdose.toml", *words)


def test_no_settings_at_all(home: Homed) -> None:
    home.run("serve").refused(REFUSED, "no settings", "uvdose.toml", "uvdose demo")
    home.run("status").refused(NO_DAEMON, "no daemon", "uvdose.toml", "uvdose demo")


@pytest.mark.parametrize(
    "words",
    [w.split() for w in ("status", "watch", "expose t", "hold 1", "resume 1", "finish 1", "quiet", "events --follow")],
    ids=lambda w: str(w[0]),
)  # fmt: skip
def test_no_daemon_running(home: Homed, words: list[object]) -> None:
    home.write(SIMULATED).run(*words).refused(NO_DAEMON, "no daemon runs for home", "uvdose serve")


@pytest.mark.parametrize(
    "words", [["day"], ["export"], ["recount", 1], ["events"], ["target", "list"], ["target", "show", "x"]]
)
def test_no_journal_yet(home: Homed, words: list[object]) -> None:
    home.run(*words).refused(REFUSED, "no journal", "uvdose serve")


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """A daemon for what is refused, and so changes nothing of it."""
    running = Daemon(tmp_path_factory.mktemp("standing") / "home")
    try:
        running.wait_live()
        yield running
    finally:
        running.stop()


@pytest.mark.parametrize("dose", ["0", "-5", "nan", "inf", "-inf", "1e10", "1e400"])
def test_impossible_doses_with_and_without_a_daemon(home: Homed, standing: Daemon, dose: str) -> None:
    for where in (home, standing):
        where.call("target", "set", "t", f"--dose={dose}").refused(WRONG, "give a number above 0")
        assert "t" not in json.loads(where.call("target", "list", "--json").out or "[]")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "say what to do, such as `uvdose demo`"),
        (["nonsense"], "nonsense"),
        (["status", "--nonsense"], "--nonsense"),
        (["target", "set", "t"], "--dose"),
        (["target", "set", "t", "--dose", "many"], "--dose 'many': give a plain number"),
        (["target", "set", "t", "--dose", "2565,5"], "such as 2565.5; see `uvdose target set --help"),
        (["target", "set", "t", "--dose=2.565,5"], "--dose '2.565,5': give a plain number"),
        (["expose", "t", "--look", "0.5", "--look", "0,7"], "--look '0,7': give a plain number"),
        (["expose", "t", "--edition", "e", "--sheet", "1.5"], "--sheet: give a whole number"),
        (["target", "set", "t", "--dose", "1", "--paper", "rag", "120"], "'120' is one word too many"),
        (["hold", "one"], "'one'"),
        (["hold", "0"], "'0'"),
        (["finish", "99999999999999999999"], "number"),
        (["recount", "1.5"], "'1.5'"),
        (["expose", "t", "--look", "1.5"], "look"),
        (["expose", "t", "--look", "nan"], "look"),
        (["expose", "t", *["--look", "0.5"] * 21], "at most 20"),
        (["target", "set", "t", "--dose", "1", *["--overshoot", "0.1"] * 21], "at most 20"),
        (["expose", "t", "--look", "0.5", "--no-look"], "--no-look"),
        (["expose", "t", "--lead", "nan"], "lead"),
        (["serve", "--pace", "0"], "--pace"),
        (["serve", "--pace", "nan"], "--pace"),
        (["serve", "--pace", "1e9"], "--pace"),
        (["day", "someday"], "YYYY-MM-DD"),
        (["export", "--day", "2026-02-30"], "YYYY-MM-DD"),
        (["export", "--day", "2026-02-03", "--from", "2026-02-03"], "--from"),
        (["export", "--from", "2026-02-03", "--to", "2026-02-02"], "lies after"),
        (["export", "--what", "all"], "exposures, events, readings"),
        (["export", "--format", "xml"], "csv, jsonl"),
    ],
    ids=lambda v: " ".join(map(str, v[:8])) if isinstance(v, list) else "",
)
def test_wrong_calls(home: Homed, words: list[str], told: str) -> None:
    home.write(SIMULATED)
    assert home.call("target", "set", "t", "--dose", "100").code == 0
    home.call(*words).refused(WRONG, told)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nonsense"], "nonsense"), (["status", "--nonsense"], "--nonsense"), (["hold", "0"], "'0'"),
        (["target", "set", "t", "--dose", "many"], "give a plain number"), (["expose", "t", "--look", "1.5"], "look"),
        (["serve", "--pace", "0"], "--pace"), (["recount", "1.5"], "'1.5'"), (["day", "someday"], "YYYY-MM-DD"),
        (["export", "--format", "xml"], "csv, jsonl"), ([], "say what to do, such as `uvdose demo`"),
    ],
    ids=lambda v: " ".join(map(str, v)) if isinstance(v, list) else "",
)  # fmt: skip
def test_a_wrong_call_leaves_one_line(home: Homed, words: list[str], told: str) -> None:
    home.write(SIMULATED)
    assert home.call("target", "set", "t", "--dose", "100").code == 0
    home.run(*words).refused(WRONG, told)


def test_an_unknown_target_an_unknown_exposure_and_a_taken_frame(daemon: Daemon) -> None:
    daemon.run("expose", "blue").refused(REFUSED, "'blue'", "uvdose target set")
    assert daemon.call("target", "set", "blue", "--dose", "5000").code == 0
    daemon.call("expose", "glue").refused(REFUSED, "'glue'", "known: blue")
    daemon.run("hold", 3).refused(REFUSED, "no exposure 3")
    daemon.run("quiet").refused(REFUSED, "no call is on")
    assert daemon.call("expose", "blue").code == 0
    daemon.call("expose", "blue").refused(REFUSED, "frame 1", "exposure 1", "uvdose finish 1")
    daemon.run("resume", 1).refused(REFUSED, "exposure 1", "in the light already")
    daemon.run("recount", 1).refused(REFUSED, "exposure 1", "finish it first")
    daemon.call("expose", "blue", "--frame", "2", "--sensor", "roof").refused(REFUSED, "'roof'", "sill")
    assert daemon.call("expose", "blue", "--frame", "2").code == 0
    assert daemon.call("finish", 1).code == 0
    daemon.run("finish", 1).refused(REFUSED, "exposure 1", "finished already")


def test_units_that_cannot_be_compared_are_refused(serve) -> None:
    bench: Daemon = serve("unscaled", SIMULATED.replace("scale = 0.0125\n", ""))
    bench.wait_live()
    assert bench.call("target", "set", "a", "--dose", "2000").code == 0
    bench.call("expose", "a").refused(REFUSED, "mJ/cm2", "counts.s", "scale")
    bench.call("expose", "a", "--override").refused(REFUSED, "counts.s")
    assert bench.call("target", "set", "a", "--dose", "2000", "--unit", "counts.s").code == 0
    shown = json.loads(bench.call("expose", "a", "--json").out)
    assert (shown["unit"], shown["target_version"]) == ("counts.s", 2)
    # The next version keeps the unit that the last one had.
    assert json.loads(bench.call("target", "set", "a", "--dose", "2100", "--json").out)["unit"] == "counts.s"


def test_a_missing_serial_port_is_absent_with_its_reason(serve, tmp_path: Path) -> None:
    gone = tmp_path / "no-such-port"
    sensor = f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{gone}"\nscale = 0.02\n'
    bench: Daemon = serve("absent", f'{sensor}[web]\nlisten = "127.0.0.1:0"\n', pace=1)
    end = time.monotonic() + 5
    while str(gone) not in (told := bench.call("status").out):
        assert time.monotonic() < end, told
    assert "absent" in told and "plug the sensor in" in told
    assert bench.call("target", "set", "t", "--dose", "100").code == 0
    bench.call("expose", "t").refused(REFUSED, "sill", "absent", str(gone))
    assert bench.run("status").out.count("absent") == 1


def test_two_homes_never_talk_across(serve, home: Homed) -> None:
    """A runtime file of another home, copied or left over, reaches nobody."""
    bench: Daemon = serve("one")
    bench.wait_live()
    home.write(SIMULATED)
    assert home.call("target", "set", "t", "--dose", "100").code == 0
    runtime = json.loads((bench.folder / "runtime.json").read_text())
    (home.folder / "runtime.json").write_text(json.dumps(runtime))
    home.run("status").refused(NO_DAEMON, "no daemon", str(home.folder))
    own = json.loads(json.dumps(runtime)) | {"home": "0123456789abcdef"}
    (home.folder / "runtime.json").write_text(json.dumps(own))
    home.run("expose", "t").refused(NO_DAEMON, "no daemon")
    (bench.folder / "runtime.json").write_text(json.dumps(runtime | {"token": "wrong"}))
    bench.run("status").refused(NO_DAEMON, "no daemon", str(bench.folder))
    (bench.folder / "runtime.json").write_text(json.dumps(runtime))
    assert bench.call("status").code == 0


def test_one_writer_for_each_home(daemon: Daemon) -> None:
    daemon.run("serve").refused(REFUSED, "in use by uvdose serve", f"process {daemon.process.pid}")
    (daemon.folder / "runtime.json").rename(daemon.folder / "hidden")
    daemon.run("target", "set", "t", "--dose", "1").refused(REFUSED, "in use by uvdose serve")


def test_the_web_port_is_busy(home: Homed) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        home.write(SIMULATED.replace(":0", f":{port}")).run("serve").refused(
            REFUSED, "web.listen", str(port), "another port"
        )


def test_a_home_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    Homed(tmp_path / "file").run("target", "set", "t", "--dose", "1").refused(REFUSED, "cannot be written")


def test_a_journal_that_is_none(home: Homed) -> None:
    home.write(SIMULATED)
    (home.folder / "journal.sqlite3").write_bytes(b"this is no journal at all" * 200)
    for words in (["day"], ["events"], ["target", "list"], ["target", "set", "t", "--dose", "1"]):
        home.call(*words).refused(REFUSED, "journal", "damaged", "uvdose serve")
    home.run("day").refused(REFUSED, "journal", "damaged", "uvdose serve")


def test_a_closed_pipe_and_an_interrupt_are_quiet(daemon: Daemon) -> None:
    import signal
    import subprocess

    watch = subprocess.Popen(
        argv("watch", "--home", daemon.folder),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
    )
    assert watch.stdout is not None and "sill" in watch.stdout.readline()
    watch.send_signal(signal.SIGINT)
    assert watch.wait(10) == 130 and watch.communicate()[1] == ""
    piped = f"'{sys.executable}' -m uvdose export --what readings --home '{daemon.folder}' | head -n 1"
    done = subprocess.run(["bash", "-c", piped], capture_output=True, text=True, env=environment(), timeout=30)
    assert done.stdout.startswith("sensor,") and done.stderr == ""
