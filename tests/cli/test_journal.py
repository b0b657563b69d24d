"""`uvdose journal`: backup, check and prune, with and without a daemon."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

from .conftest import Daemon, Homed

WRONG, REFUSED = 2, 4


def test_beside_a_running_daemon(daemon: Daemon, tmp_path: Path) -> None:
    assert daemon.call("target", "set", "blue", "--dose", "5000").code == 0
    assert daemon.call("expose", "blue").code == 0
    copy = tmp_path / "copies of mine" / "journal.backup"
    copy.parent.mkdir()
    told = json.loads(daemon.call("journal", "backup", copy, "--json").out)
    assert told["bytes"] == copy.stat().st_size and told["exposures"] == 1
    assert [p.name for p in copy.parent.iterdir()] == ["journal.backup"]
    daemon.run("journal", "backup", copy).refused(REFUSED, "is there already", "--force")
    assert "checked" in daemon.run("journal", "backup", copy, "--force").out
    own = daemon.folder / "journal.sqlite3"
    daemon.run("journal", "backup", own, "--force").refused(REFUSED, "the journal itself")
    daemon.run("journal", "backup", tmp_path / "none" / "x").refused(REFUSED, "cannot be written")
    daemon.run("journal", "prune", "--before", "2026-01-01").refused(REFUSED, "a daemon runs", "stop it")
    assert "0 readings" in daemon.run("journal", "prune", "--before", "2020-01-01", "--dry-run").out
    found = json.loads(daemon.call("journal", "check", "--json").out)
    assert found["ok"] and found["readings"] > 0 and found["counts"]["exposure"] == 1
    assert found["migrations"][0]["version"] == 1
    # The copy is a journal: a home made of it goes on.
    home = Homed(tmp_path / "restored")
    home.folder.mkdir()
    (home.folder / "journal.sqlite3").write_bytes(copy.read_bytes())
    assert "blue" in home.call("target", "list").out
    assert home.run("journal", "check", copy).out.count("sound") == 1


def test_without_a_daemon(home: Homed, tmp_path: Path) -> None:
    for words in (["backup", tmp_path / "x"], ["check"], ["prune", "--before", "2026-01-01"]):
        home.call("journal", *words).refused(REFUSED, "no journal")
    assert home.call("target", "set", "blue", "--dose", "5000").code == 0
    assert home.call("journal", "backup", tmp_path / "x").code == 0
    assert "sound" in home.call("journal", "check").out
    assert "0 readings from before 2026-01-01 deleted" in home.call("journal", "prune", "--before", "2026-01-01").out
    home.call("journal", "prune", "--before", "soon").refused(WRONG, "YYYY-MM-DD")
    home.call("journal", "prune").refused(WRONG, "--before")
    home.call("journal", "check", tmp_path / "none").refused(REFUSED, "no file")


def test_damage_is_told_by_check_and_mended_by_serve(tmp_path: Path) -> None:
    home = Homed(tmp_path / "home")
    assert home.call("target", "set", "blue", "--dose", "5000").code == 0
    path = home.folder / "journal.sqlite3"
    db = sqlite3.connect(path)
    root = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'event'").fetchone()[0]
    db.close()
    raw = bytearray(path.read_bytes())
    raw[(root - 1) * 4096 : root * 4096] = b"\xa5" * 4096
    path.write_bytes(bytes(raw))
    done = home.run("journal", "check")
    assert done.code == 1 and "DAMAGED" in done.out and "start the daemon again" in done.err
    home.run("journal", "backup", tmp_path / "x").refused(REFUSED, "damaged")
    assert not (tmp_path / "x").exists()
    running = Daemon.__new__(Daemon)
    Homed.__init__(running, home.folder)
    home.write('[[sensor]]\nname = "sill"\nlink = "simulated"\n[web]\nlisten = "127.0.0.1:0"\n')
    _serve_once(running)
    assert "blue" in home.call("target", "list").out
    told = [json.loads(line) for line in home.call("events", "--json").out.splitlines()]
    assert [e["event"] for e in told if e.get("alarm") == "journal"] == ["alarm"]
    assert "set aside as journal.damaged-" in told[0]["line"]
    assert "journal  " in home.run("events").out and "sound" in home.run("journal", "check").out
    assert [p.read_bytes() for p in home.folder.glob("journal.damaged-*.sqlite3")] == [bytes(raw)]


def _serve_once(running: Daemon) -> None:
    import subprocess

    from .conftest import argv, environment

    running.process = subprocess.Popen(
        argv("serve", "--home", running.folder), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=environment(),
    )  # fmt: skip
    assert running.process.stdout is not None
    first = running.process.stdout.readline()
    assert first.startswith("ALARM journal journal.sqlite3 was damaged"), first
    assert running.process.stdout.readline().startswith("ready ")
    assert running.stop().code == 0
