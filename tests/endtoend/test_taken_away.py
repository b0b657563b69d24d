"""Files that are taken away under a running daemon: it says so, owns up that nothing is kept, and calls on."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.bench import RunningBench

from uvdose.home import read_runtime

SETTINGS = """
[[sensor]]
name = "sill"
link = "simulated"
profile = "clear"
scale = 0.0125
full_scale = 1023
"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[RunningBench]:
    with RunningBench(tmp_path / "home", SETTINGS, 4.0) as running:
        running.wait_live("sill")
        running.target("blue", 60.0, looks=[], lead_s=0)
        yield running


@pytest.mark.parametrize("how", ["the file", "another in its place", "the home"])
def test_a_journal_that_is_taken_away(bench: RunningBench, tmp_path: Path, how: str) -> None:
    number = bench.expose("blue")
    journal, aside = bench.home.journal_file, tmp_path / "aside"
    taken = bench.home.folder if how == "the home" else journal
    taken.rename(aside)
    if how == "another in its place":
        journal.write_bytes(b"")
    bench.wait_line("ALARM the journal cannot be written", 5)
    shown = bench.ask("GET", "/status")
    assert "journal.sqlite3" in shown["troubles"][0] and "while the daemon writes it" in shown["troubles"][0]
    held = bench.ask("POST", f"/exposures/{number}/hold")
    assert held["recorded"] is False and "not yet on disk" in held["note"]
    bench.act(number, "resume")
    bench.wait_line("CALL reached", 30)
    if how == "the file":
        aside.rename(journal)
        bench.wait_line("the journal is written again; nothing was lost", 5)
        assert [str(a.act) for a in bench.store().acts(number)] == ["light", "hold", "resume"]
        assert bench.act(number, "finish")["recorded"] is True


def test_commands_reach_a_daemon_whose_journal_was_taken_away(bench: RunningBench) -> None:
    bench.home.journal_file.unlink()
    ran = _run(bench, "status", "--json")
    assert ran.returncode == 0 and '"sill"' in ran.stdout, ran


def test_a_lock_that_is_taken_away_lets_no_second_daemon_in(bench: RunningBench) -> None:
    before = read_runtime(bench.home)
    bench.home.lock_file.unlink()
    bench.wait_line("uvdose.lock was removed while the daemon runs", 5)
    second = _run(bench, "serve")
    assert second.returncode == 4 and "one writer at a time" in second.stderr and second.stdout == ""
    assert read_runtime(bench.home) == before is not None
    assert bench.ask("GET", "/status")["troubles"] == []
    assert bench.stop() == 0 and not bench.home.runtime_file.exists()


def test_a_daemon_takes_no_other_daemons_address_away(bench: RunningBench) -> None:
    other = bench.home.runtime_file.read_bytes().replace(b'"token":"', b'"token":"other')
    bench.home.runtime_file.write_bytes(other)
    assert bench.stop() == 0
    assert bench.home.runtime_file.read_bytes() == other


def _run(bench: RunningBench, *words: str) -> subprocess.CompletedProcess[str]:
    line = [*bench.command()[:5], *words]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)
