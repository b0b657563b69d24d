"""Strips and tablets given what cannot be meant: one clear line, the right exit code, and nothing lost."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from .conftest import SIMULATED, Daemon, Homed

# Seven steps around 100 mJ/cm², a tablet of four densities: enough for every question, and exposed in seconds.
SHOWN = "0.10 0.30 0.62 1.01 1.30 1.36 1.37"


def _expose(daemon: Daemon, kind: str, number: int) -> None:
    ran = daemon.run(kind, "run", number, "--count-in", 0, "--no-wait", "--frame", f"{kind}{number}")
    assert ran.code == 0, ran
    exposure = json.loads(daemon.call(kind, "show", number, "--json").out)["exposure"]["id"]
    end = time.monotonic() + 20
    while json.loads(daemon.call("status", "--json").out)["exposures"][exposure - 1]["state"] != "reached":
        assert time.monotonic() < end
        time.sleep(0.05)
    assert daemon.call("finish", exposure).code == 0


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """strip 1 and tablet 2 exposed, strip 3 planned, strip 4 exposed and read, tablet 5 dropped."""
    daemon = Daemon(tmp_path_factory.mktemp("bench") / "home", SIMULATED, 60)
    try:
        daemon.wait_live()
        for words in (("strip", "plan", "--around", 100, "--paper", "rag"), ("tablet", "plan", "--dose", 100),
                      ("strip", "plan", "--around", 50), ("strip", "plan", "--around", 100),
                      ("tablet", "plan", "--dose", 100)):  # fmt: skip
            assert daemon.call(*words).code == 0
        for kind, number in (("strip", 1), ("tablet", 2), ("strip", 4)):
            _expose(daemon, kind, number)
        assert daemon.call("strip", "read", 4, "--densities", SHOWN).code == 0
        assert daemon.call("tablet", "drop", 5).code == 0
        yield daemon
    finally:
        daemon.stop()


def _journal(home: Homed) -> list[object]:
    """Everything that a person said, and what came of it."""
    with contextlib.closing(sqlite3.connect(home.folder / "journal.sqlite3")) as db:
        return [db.execute(f"SELECT * FROM {table}").fetchall() for table in ("note", "target", "act")]


PLANS = [
    (("strip", "plan"), 2, "--around or --first"), (("strip", "plan", "--around", "nan"), 2, "above zero"),
    (("strip", "plan", "--around", "-1"), 2, "above zero"), (("strip", "plan", "--around", "1e300"), 2, "up to"),
    (("strip", "plan", "--first", "inf"), 2, "above zero"),
    (("strip", "plan", "--around", "10", "--count", "1"), 2, "2 to"),
    (("strip", "plan", "--around", "10", "--count", "99"), 2, "2 to 15"),
    (("strip", "plan", "--around", "10", "--step", "nan"), 2, "0.1"),
    (("strip", "plan", "--around", "10", "--step", "3"), 2, "0.1"),
    (("strip", "plan", "--around", "10", "--first", "5"), 2, "leave one out"),
    (("strip", "plan", "--around", "10", "--way", "sideways"), 2, "cover, uncover"),
    (("strip", "plan", "--around", "10", "--sensor", "roof"), 2, "sill"),
    (("strip", "plan", "--around", "10", "--film-base", "moss"), 4, "no base of a film 'moss'"),
    (("strip", "plan", "--around", "10", "--film-base", "9"), 2, "0 to 3"),
    (("strip", "plan", "--around", "10", "--film-base", "nan"), 2, "0 to 3"),
    (("strip", "plan", "--around", "10", "--film-base", "0.1", "--through-film"), 2, "leave it out"),
    (("strip", "plan", "--around", "10", "--paper", "a\nb"), 2, "printable"),
    (("strip", "plan", "--around", "10", "--notes", "x" * 501), 2, "500"),
    (("tablet", "plan"), 2, "--dose or --around"), (("tablet", "plan", "--dose", "nan"), 2, "above 0"),
    (("tablet", "plan", "--dose", "10", "--around", "10"), 2, "leave one out"),
    (("tablet", "plan", "--dose", "10", "--tablet", "21x0"), 2, ""),
    (("tablet", "plan", "--dose", "10", "--tablet", "999x9"), 2, ""),
    (("tablet", "plan", "--dose", "10", "--tablet", ""), 2, "COUNTxSTEP"),
    (("tablet", "plan", "--dose", "10", "--tablet", "none.csv"), 2, "none.csv"),
]  # fmt: skip
READS = [
    (("strip", "read", 1, "--densities", "1.4 1.3 1.0 0.6 0.3 0.1 0.05"), 4, ""),
    (("strip", "read", 1, "--densities", "0.1 0.3 0.6"), 2, "3 values for 7 steps"),
    (("strip", "read", 1, "--densities", "nan 0.3 0.6 1 1.3 1.4 1.4"), 2, "'nan' is not a number"),
    (("strip", "read", 1, "--densities", "- - - - - - 1.4"), 4, "at least"),
    (("strip", "read", 1, "--densities", "1.4 1.4 1.4 1.4 1.4 1.4 1.4"), 4, ""),
    (("strip", "read", 1, "--densities", "0.1 0.14 0.2 0.29 0.42 0.61 0.89"), 4, ""),
    (("strip", "read", 1, "--densities", "0,10,0,30,0,62,1,01,1,30,1,36,1,37"), 2, ""),
    (("strip", "read", 1, "--densities", "0,1, 0,3, 0,6, 1, 1, 1, 1"), 2, "two ways"),
    (("strip", "read", 1, "--densities", ""), 2, "no numbers"),
    (("strip", "read", 1, "--densities", "0.1 0.3 0.6 1.0 1.3 1.4 99"), 2, "step 7"),
    (("strip", "read", 1, "--reflectances", "0 0.1 0.2 0.3 0.4 0.5 0.6"), 2, "step 1"),
    (("strip", "read", 1, "--greys", "200 150 90 60 40 38 37"), 2, "--white"),
    (("strip", "read", 1, "--greys", "200 150 90 60 40 38 37", "--white", "nan"), 2, "white"),
    (("strip", "read", 1, "--greys", "200 150 90 60 40 38 37", "--white", "9"), 2, "step 1"),
    (("strip", "read", 1, "--greys", "200 150 90 60 40 38 37", "--white", "250", "--gamma", "nan"), 2, "gamma"),
    (("strip", "read", 1, "--densities", SHOWN, "--full-below", "nan"), 2, "full tone"),
    (("strip", "read", 1, "--densities", SHOWN, "--paper-base", "nan"), 2, ""),
    (("strip", "read", 1, "--densities", SHOWN, "--right", "3"), 2, "one of them"),
    (("strip", "read", 1, "--right", "99"), 2, "1 to 7"), (("strip", "read", 1, "--right", "0"), 2, "whole number"),
    (("strip", "read", 1, "--right", "third"), 2, "whole number"),
    (("strip", "read", 1, "--full", "1"), 4, "expose less"),
    (("strip", "read", 1, "--full", "99"), 2, "1 to 7"),
    (("strip", "read", 1, "--full", "2", "--tone", "5"), 2, "look again"),
    (("strip", "read", 1), 2, "--right, --full or --densities"), (("tablet", "read", 2), 2, "--full"),
    (("strip", "read", 99, "--right", "3"), 4, "no strip 99"), (("strip", "read", 2, "--right", "3"), 4, "no strip 2"),
    (("strip", "read", "x", "--right", "3"), 2, "give its number"),
    (("strip", "read", 3, "--right", "3"), 4, "planned"), (("tablet", "read", 5, "--full", "3"), 4, "dropped"),
    (("strip", "accept", 1, "--name", "x"), 4, "not read yet"), (("strip", "accept", 4), 2, "--name"),
    (("strip", "accept", 4, "--name", "a b"), 2, "letters"), (("strip", "accept", 4, "--name", ""), 2, "letters"),
    (("strip", "accept", 4, "--name", "x", "--dose", "nan"), 2, "above 0"),
    (("strip", "accept", 4, "--name", "x", "--dose", "-1"), 2, "above 0"),
    (("strip", "accept", 4, "--name", "x", "--safe"), 2, "picked"),
    (("tablet", "accept", 5, "--name", "x"), 4, "dropped"),
    (("tablet", "drop", 5), 4, "dropped"), (("strip", "drop", "one"), 2, "number"),
    (("tablet", "run", 5), 4, "dropped"), (("strip", "moved", 3), 4, "no card to move"),
    (("strip", "moved"), 4, "no strip"),
    (("strip", "show", 1, "--chart", "x.svg"), 4, "no curve"),
    (("strip", "show", 4, "--chart", "x.gif"), 2, ".svg, .png"),
    (("strip", "show", 4, "--chart", "none/x.svg"), 4, "none"),
    (("strip",), 2, "say what to do"), (("tablet",), 2, "say what to do"),
]  # fmt: skip


@pytest.mark.parametrize(("words", "code", "why"), [*PLANS, *READS])
def test_one_clear_line_and_nothing_is_lost(bench: Daemon, words: tuple[object, ...], code: int, why: str) -> None:
    before = _journal(bench)
    bench.call(*words).refused(code, why)
    assert _journal(bench) == before


def test_tablet_files_that_are_none(bench: Daemon, tmp_path: Path) -> None:
    before = _journal(bench)
    os.mkfifo(tmp_path / "fifo")
    (tmp_path / "folder").mkdir()
    files: dict[str, bytes] = {
        "missing.csv": b"step,tone\n1,0.1\n2,0.3\n", "binary.csv": bytes(range(256)) * 4, "empty.csv": b"",
        "huge.csv": b"step,density\n" + b"1,0.1\n" * 20_000, "text.csv": b"step,density\n1,dense\n2,0.3\n",
        "one.csv": b"step,density\n1,0.1\n", "nan.csv": b"step,density\n1,nan\n2,0.4\n",
        "nul.csv": b"step,density\n1,\0\n",
        "falling.csv": b"step,density\n1,0.9\n2,0.3\n3,0.1\n", "twice.csv": b"step,density\n1,0.1\n1,0.3\n",
    }
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    for name in ("fifo", "folder", *files):
        ran = bench.call("tablet", "plan", "--dose", 10, "--tablet", tmp_path / name)
        ran.refused(2, name)
    assert _journal(bench) == before
    (tmp_path / "good.csv").write_bytes(b"\xef\xbb\xbfstep;density\r\n1;0,05\r\n2;0,20\r\n3;0,36\r\n")
    ran = bench.call("tablet", "plan", "--dose", 10, "--tablet", tmp_path / "good.csv", "--json")
    assert ran.code == 0, ran
    assert json.loads(ran.out)["note"]["plan"] == {
        "type": "tablet", "dose": 10.0, "densities": [0.05, 0.2, 0.36], "name": "good.csv"
    }


def test_decimal_commas_are_understood_where_they_are_clear(bench: Daemon) -> None:
    comma, points = (
        json.loads(bench.call("strip", "read", 4, "--densities", line, "--json").out)
        for line in (SHOWN.replace(".", ","), SHOWN)
    )
    assert comma == points and comma["how"] == "s-curve"


def test_a_sheet_makes_one_target_until_it_is_read_again(bench: Daemon) -> None:
    assert bench.call("strip", "accept", 4, "--name", "blue").code == 0
    bench.call("strip", "accept", 4, "--name", "blue").refused(4, "made target blue v1 already")
    bench.call("strip", "accept", "--name", "blue").refused(4, "no strip that is read")
    assert len(json.loads(bench.call("target", "show", "blue", "--json").out)) == 1
    assert bench.call("strip", "read", 4, "--right", 5).code == 0
    assert bench.call("strip", "accept", 4, "--name", "blue", "--dose", 120, "--reason", "seen again").code == 0
    assert [t["dose"] for t in json.loads(bench.call("target", "show", "blue", "--json").out)][1:] == [120.0]


def test_one_in_the_light_is_neither_dropped_nor_read_nor_begun_twice(bench: Daemon) -> None:
    assert bench.call("strip", "plan", "--around", 50_000).code == 0
    number = json.loads(bench.call("strip", "list", "--json").out)[-1]["number"]
    ran = bench.call("strip", "run", number, "--count-in", 0, "--no-wait", "--frame", "long")
    assert ran.code == 0 and "uncover the whole sheet" in ran.out
    exposure = json.loads(bench.call("strip", "show", number, "--json").out)["exposure"]["id"]
    bench.call("strip", "drop", number).refused(4, f"uvdose finish {exposure}")
    bench.call("strip", "read", number, "--right", 1).refused(4, "in the light")
    bench.call("verdict", exposure, "--tone", "dark").refused(4, "only a finished print")
    assert bench.call("undo", exposure).code == 0, "the start taken back"
    assert json.loads(bench.call("strip", "show", number, "--json").out)["state"] == "planned"
