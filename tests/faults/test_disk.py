"""The disk is full, slow, or cannot be written: calls come in time, nothing that was decided is lost."""

from __future__ import annotations

import itertools
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.needs import missing
from support.ptynode import PtyNode

from uvdose.model import RegisterReading
from uvdose.review.recount import recount

PACE = 2.0
COUNTS = 500  # 50 W/m² at 10 counts per W/m²
MW_CM2 = 5.0  # at the settings' scale
TARGET = 100.0  # 20 s of node time
PATIENCE_S = 0.2 + 0.15  # what a call may wait for its commit, and the jitter of a busy machine


def _settings(folder: Path) -> str:
    return f'[[sensor]]\nname = "node"\nlink = "serial"\nport = "{folder}/node"\nscale = 0.01\nfull_scale = 1000000\n'


@contextmanager
def _small_disk(folder: Path) -> Iterator[Path]:
    """A file system of 1.5 MB of its own."""
    folder.mkdir()
    if os.geteuid() != 0 or subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1536k", "tmpfs", str(folder)], capture_output=True, check=False
    ).returncode:
        missing("a small file system of its own", "run the tests as root, who may mount one")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def _fill(folder: Path) -> Path:
    filler = folder / "filler"
    with open(filler, "wb", buffering=0) as handle:
        try:
            while True:
                handle.write(bytes(1024))
        except OSError:
            return filler


def _limit(bench: RunningBench, size: int) -> None:
    """How large a file of the daemon may grow from now on."""
    assert bench.process is not None
    hard = resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE)[1]
    resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE, (size, hard))


def _dose_at_target_buzz(node: PtyNode, bench: RunningBench, number: int) -> float:
    """What the node itself had counted since the start when it was told to buzz for the target."""
    first = next(b for b in node.buzzes if b.pattern == 4)
    begin = bench.store().acts(number)[0].cut.register
    assert begin is not None
    return (first.register - begin) / 1000 * 0.01


def _all_readings_in_order(node: PtyNode, bench: RunningBench) -> None:
    rows = list(bench.store().readings("node", 0))
    times, lines = [t for t, _ in rows], [r for _, r in rows if isinstance(r, RegisterReading)]
    assert times == sorted(times) and len(lines) > 20
    assert all(b.seq == a.seq + 1 for a, b in itertools.pairwise(lines))
    said = {(s.uptime_ms, s.register) for s in node.sent}
    assert all((r.uptime_ms, r.register) in said for r in lines)


@pytest.mark.parametrize("how", ["a full file system", "a limit on the size of files"])
def test_the_disk_is_full_and_the_call_comes(tmp_path: Path, how: str) -> None:
    if how == "a full file system":
        with _small_disk(tmp_path / "disk") as disk:
            _full(tmp_path, disk / "home", lambda bench: _fill(disk), lambda bench: (disk / "filler").unlink())
    else:
        _full(tmp_path, tmp_path / "home", lambda bench: _limit(bench, 1),
              lambda bench: _limit(bench, resource.RLIM_INFINITY))  # fmt: skip


def _full(folder: Path, home: Path, fill, free) -> None:  # type: ignore[no-untyped-def]
    with (
        PtyNode(folder / "node", [COUNTS / 10] * 100, pace=PACE) as node,
        RunningBench(home, _settings(folder), PACE) as bench,
    ):
        bench.wait_live("node")
        bench.target("blue", TARGET, looks=[0.5], lead_s=0)
        number = bench.expose("blue")
        fill(bench)
        bench.wait_line("ALARM the journal cannot be written", 10)
        assert "cannot be written" in bench.ask("GET", "/status")["troubles"][0]
        taken = bench.ask("POST", f"/exposures/{number}/hold")
        assert not taken["recorded"] and "not yet on disk" in taken["note"]
        bench.act(number, "resume")
        bench.wait_line("CALL reached", 40)
        bench.wait_for(lambda: any(b.pattern == 4 for b in node.buzzes), 2, "the node buzzes")
        assert [b.pattern for b in node.buzzes if b.pattern in (2, 4)][:2] == [2, 4]
        assert not [e for e in bench.events(number) if e["event"] == "reached"]
        assert bench.exposure(number)["state"] == "reached"
        bench.ask("POST", "/quiet", {})
        free(bench)
        bench.wait_line("journal is written again; nothing was lost", 10)
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["settled"], 5, "settled")
        assert bench.ask("GET", "/status")["troubles"] == []

        dose = _dose_at_target_buzz(node, bench, number)
        held = bench.store().acts(number)
        out = (held[2].cut.register or 0) - (held[1].cut.register or 0)
        assert TARGET - 1 <= dose - out / 1000 * 0.01 <= TARGET + PATIENCE_S * PACE * MW_CM2
        told = [e["event"] for e in bench.events()]
        order = ["started", "alarm", "held", "resumed", "look", "reached", "quieted", "cleared", "finished"]
        assert [e for e in told if e in order] == order
        assert bench.stop() == 0
        _all_readings_in_order(node, bench)
        assert recount(bench.store(), number).same


def test_a_slow_disk_holds_no_call_up(tmp_path: Path) -> None:
    with PtyNode(tmp_path / "node", [COUNTS / 10] * 100, pace=PACE) as node:
        bench = RunningBench(tmp_path / "home", _settings(tmp_path), PACE)
        try:
            bench.start("slow-disk")
            bench.wait_live("node")
            bench.target("blue", TARGET, looks=[0.5], lead_s=0)
            number = bench.expose("blue")
            bench.wait_line("CALL reached", 40)
            bench.wait_for(lambda: any(b.pattern == 4 for b in node.buzzes), 2, "the node buzzes")
            bench.ask("POST", "/quiet", {})
            bench.act(number, "finish")
            bench.wait_for(lambda: bench.exposure(number)["settled"], 5, "settled")
            bench.wait_for(lambda: "finished" in [e["event"] for e in bench.events(number)], 12, "finished on disk")
            dose = _dose_at_target_buzz(node, bench, number)
            assert TARGET - 1 <= dose <= TARGET + PATIENCE_S * PACE * MW_CM2
            assert bench.stop() == 0
            _all_readings_in_order(node, bench)
            assert recount(bench.store(), number).same
        finally:
            bench.__exit__(None, None, None)


def test_a_disk_that_is_full_from_the_start_is_refused_in_one_line(tmp_path: Path) -> None:
    with _small_disk(tmp_path / "disk") as disk:
        home = _home(disk / "home")
        _fill(disk)
        _refused(home, "serve")
        _refused(home, "target", "set", "t", "--dose", "100")


def test_a_home_that_can_only_be_read(tmp_path: Path) -> None:
    with _small_disk(tmp_path / "disk") as disk:
        home = _home(disk / "home")
        assert _run(home, "target", "set", "t", "--dose", "100").returncode == 0
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        _refused(home, "serve", words="cannot be written")
        _refused(home, "target", "set", "t", "--dose", "200", words="cannot be written")
        _refused(home, "journal", "prune", "--before", "2026-01-01", words="cannot be written")
        shown = _run(home, "target", "list")
        assert shown.returncode == 0 and "100" in shown.stdout
        assert _run(home, "journal", "check").returncode == 0


def test_a_home_that_is_a_file_and_a_journal_that_is_a_folder(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("mine", encoding="utf-8")
    for words in (["serve"], ["target", "set", "t", "--dose", "1"], ["day"], ["journal", "check"]):
        _refused(file, *words)
    assert file.read_text(encoding="utf-8") == "mine"
    home = _home(tmp_path / "home")
    (home / "journal.sqlite3").mkdir()
    (home / "journal.sqlite3" / "kept").write_text("mine", encoding="utf-8")
    for words in (["serve"], ["target", "set", "t", "--dose", "1"], ["day"], ["journal", "check"]):
        _refused(home, *words, words="is a folder")
    assert (home / "journal.sqlite3" / "kept").exists()


def _home(folder: Path) -> Path:
    folder.mkdir()
    (folder / "uvdose.toml").write_text(
        '[[sensor]]\nname = "sill"\nlink = "simulated"\n[web]\nlisten = "127.0.0.1:0"\n', encoding="utf-8"
    )
    return folder


def _run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    argv = [sys.executable, "-m", "uvdose", *words, "--home", str(home)]
    return subprocess.run(argv, capture_output=True, text=True, timeout=20, env=env, check=False)


def _refused(home: Path, *argv: str, words: str = "") -> None:
    began = time.monotonic()
    done = _run(home, *argv)
    assert (done.returncode, done.stdout) == (4, ""), done
    assert len(done.stderr.splitlines()) == 1 and words in done.stderr, done.stderr
    assert time.monotonic() - began < 15
