"""`uvdose note` and `uvdose prints` as they are typed: on a journal without a daemon, and beside a real one."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from journal.journals import SENSOR, WALL_US, print_rows, write
from PIL import Image

from uvdose.asked import NoteRequest
from uvdose.cli.asking import journal, need_daemon
from uvdose.cli.noting import MOST_PRINTS, numbers_of
from uvdose.config import Home
from uvdose.exposure.target import Combination, Target
from uvdose.home import lock
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.messages import NoteTaken
from uvdose.model import Refusal
from uvdose.notes import PrintNote

from .conftest import Daemon, Homed, environment

BLUE = Target("blue", 1, 1000.0, combination=Combination("iron blue", "rag"), identity=SENSOR)


@pytest.fixture
def bench(home: Homed) -> Homed:
    """Twenty prints, no daemon."""
    home.folder.mkdir()
    db = open_writing(home.folder / "journal.sqlite3")
    recorder = Recorder(db, lambda t: WALL_US + t)
    statements = recorder.sensor(SENSOR) + recorder.target(BLUE)
    for i in range(1, 21):
        statements += print_rows(recorder, i, BLUE, 1000.0, WALL_US + i * 60_000_000, label=f"fern {i}")
    write(db, statements)
    db.close()
    return home


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    path = tmp_path / "print.jpg"
    Image.radial_gradient("L").convert("RGB").save(path)
    return path


def test_single_fields_change_and_the_others_stay(bench: Homed) -> None:
    assert bench.call("note", 3, "--humidity", "55 %", "--wash", "20 min running").code == 0
    assert bench.call("note", 3, "--drying-delay", "12m", "--coating-age", "2h").code == 0
    assert bench.call("note", 3, "--humidity", 60, "--wash", "-").out == \
        "print 3, fern 3: humidity 60 %, drying delay 12 min, coating age 2 h\n"  # fmt: skip
    [row] = bench.told("note", 3)["prints"]
    assert row["note"] == {"humidity_percent": 60.0, "drying_delay_s": 720.0, "coating_age_s": 7200.0}
    assert bench.call("note", 3, "--coated", "2026-06-20 09:30").code == 0
    [row] = bench.told("note", 3)["prints"]
    assert "coating_age_s" not in row["note"] and row["coating_age_s"] > 86_400, "the one takes the other's place"
    [told] = bench.told("note", 3, "--history")["prints"]
    assert [said["note"].get("humidity_percent") for said in told["history"]] == [55.0, 55.0, 60.0, 60.0]


@pytest.mark.parametrize(("typed", "utc"), [
    ("15:00", "2026-06-20T22:00:00.000Z"), ("2026-06-20 15:00", "2026-06-20T22:00:00.000Z"),
    ("2026-06-21T03:01", "2026-06-21T10:01:00.000Z"), ("2:30", "2026-06-21T09:30:00.000Z"),
    ("2026-01-05 9:00", "2026-01-05T17:00:00.000Z"),
])  # fmt: skip
def test_when_it_was_coated_is_told_by_the_benchs_own_clock(bench: Homed, typed: str, utc: str) -> None:
    """Los Angeles is 7 hours behind UTC in summer and 8 in winter; print 1 began on 2026-06-21 at 10:01 UTC."""
    bench.write('[bench]\ntimezone = "America/Los_Angeles"\n')
    assert bench.call("note", 1, "--coated", typed).code == 0
    assert bench.told("note", 1)["prints"][0]["note"] == {"coated_utc": utc}


def test_an_hour_that_clocks_leapt_over_is_none(bench: Homed) -> None:
    bench.write('[bench]\ntimezone = "America/Los_Angeles"\n')
    bench.call("note", 1, "--coated", "2026-03-08 02:30").refused(2, "give HH:MM")


def test_many_prints_at_once_and_their_verdicts_in_the_history(bench: Homed) -> None:
    assert len(bench.call("note", "12-18", 2, "--humidity", 55).out.splitlines()) == 8
    assert len(bench.told("prints", "--by", "day")["groups"]) == 1
    with journal(Home(bench.folder)) as store:
        assert list(store.notes(PrintNote)) == [*map(str, range(12, 19)), "2"]
    assert bench.call("verdict", 12, "--tone", "dark", "--stops", 0.5).code == 0
    assert bench.call("note", 12, "--text", "second wash").code == 0
    told = [line.partition("  ")[2] for line in bench.call("note", 12, "--history").out.splitlines()[1:]]
    assert [line.partition("  ")[2] for line in told] == [
        "humidity 55 %", "verdict: dark, +0.50 stop", "text second wash"]  # fmt: skip
    assert [p["id"] for p in bench.told("prints", "--text", "WASH")["prints"]] == [12]
    assert [p["id"] for p in bench.told("prints", "--verdict", "dark", "--label", "FERN 1")["prints"]] == [12]


def test_a_picture_is_kept_proven_and_told_by_a_backup(bench: Homed, picture: Path, tmp_path: Path) -> None:
    assert bench.call("note", 7, "--picture", picture).code == 0
    [row] = bench.told("note", 7, "--show")["prints"]
    kept = bench.folder / row["picture"]["file"]
    assert kept.read_bytes() == picture.read_bytes() and row["picture"]["state"] == "whole"
    assert "as it was kept: pictures/7-" in " ".join(bench.call("note", 7, "--show").out.split())
    told = bench.call("journal", "backup", tmp_path / "copy.sqlite3")
    assert "not in it: 1 picture of a print" in told.out and str(bench.folder / "pictures") in told.out
    copy = tmp_path / "copied"
    for new in (1, 0):
        told = bench.told("journal", "backup", tmp_path / "copy.sqlite3", "--force", "--pictures", copy)
        assert told["pictures_copied"] == {"pictures": 1, "new": new, "damaged": []}
    assert [p.name for p in copy.iterdir()] == [kept.name] and (copy / kept.name).read_bytes() == kept.read_bytes()
    (copy / kept.name).unlink()
    assert "1 picture of a print, as kept" in bench.call("journal", "check").out
    assert bench.told("journal", "check", tmp_path / "copy.sqlite3")["pictures"] is None, "a copy has none beside it"
    kept.write_bytes(kept.read_bytes()[:-1])
    ran = bench.call("journal", "backup", tmp_path / "copy.sqlite3", "--force", "--pictures", copy)
    assert ran.code == 1 and f"not copied: 1 picture of a print, such as {kept.name}" in ran.err
    assert list(copy.iterdir()) == []
    ran = bench.call("note", 7)
    assert ran.code == 1 and "NOT what was kept" in ran.out and "not what was kept" in ran.err
    checked = bench.call("journal", "check")
    assert checked.code == 1 and f"not what was kept: {kept.name}" in checked.out and kept.name in checked.err
    kept.unlink()
    assert f"not there: {kept.name}" in bench.call("journal", "check").out
    assert bench.call("note", 7).code == 1 and "not there" in bench.call("note", 7).err
    assert bench.call("note", 7, "--picture", picture).code == bench.call("note", 7).code == 0
    assert bench.call("note", 7, "--picture", "-").code == bench.call("note", 7).code == 0
    assert kept.exists(), "what was noted before is history, and so is its picture"


def test_the_journal_is_told_though_its_pictures_cannot_be_looked_at(bench: Homed, picture: Path) -> None:
    assert bench.call("note", 3, "--picture", picture).code == 0
    folder = bench.folder / "pictures"
    folder.rename(bench.folder / "elsewhere")
    folder.symlink_to(bench.folder / "elsewhere")
    ran = bench.call("journal", "check")
    assert ran.code == 4 and "sound" in ran.out and "no link" in ran.err and len(ran.err.splitlines()) == 1


def test_killed_between_picture_and_note(bench: Homed, picture: Path) -> None:
    """The picture is whole and nobody's; said again it is the print's."""
    script = """
import os, signal, sys
from uvdose.cli import app, keeping
keeping.change_note = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
app.run(sys.argv[1:])
"""
    words = ["note", "7", "--picture", str(picture), "--wash", "long", "--home", str(bench.folder)]
    ran = subprocess.run([sys.executable, "-c", script, *words], env=environment(), timeout=30)
    assert ran.returncode == -signal.SIGKILL
    assert len(list((bench.folder / "pictures").iterdir())) == 1 and bench.told("note", 7)["prints"][0]["note"] is None
    assert bench.call(*words[:6]).code == 0 and bench.call("note", 7).code == 0
    assert len(list((bench.folder / "pictures").iterdir())) == 1


@pytest.mark.parametrize(("words", "code", "why"), [
    (("1", "--humidity", "101"), 2, "0 to 100"), (("1", "--humidity", "nan"), 2, "0 to 100"),
    (("1", "--humidity", "-1"), 2, "0 to 100"), (("1", "--drying-delay", "12"), 2, "with its unit"),
    (("1", "--coating-age", "1e9d"), 2, "with its unit"), (("1", "--coated", "25:00"), 2, "give HH:MM"),
    (("1", "--coated", "2026-13-01 10:00"), 2, "YYYY-MM-DD"), (("1", "--coated", "x"), 2, "give HH:MM"),
    (("1", "--coated", "2030-01-01 10:00"), 2, "after the print's start"),
    (("1", "--coated", "09:00", "--coating-age", "1h"), 2, "leave one out"),
    (("1", "--wash", "x" * 501), 2, "500 printable"), (("1", "--text", "a\tb"), 2, "printable"),
    (("99", "--wash", "x"), 4, "no exposure 99"), (("18-24", "--wash", "x"), 4, "no exposure 21"),
    (("0",), 2, "'0'"), (("x",), 2, "'x'"), (("5-3",), 2, "lower number first"), (("1-9999",), 2, "at most 200"),
    (("-3", "--wash", "x"), 2, "-3"), (("1-", "--wash", "x"), 2, "''"), ((), 2, "ID"),
    (("1-2", "--picture", "FILE"), 2, "of one print, and you named 2"), (("1", "--picture", "none.jpg"), 4, "No such"),
    (("1", "--picture", "PIPE"), 4, "no ordinary file"), (("1", "--picture", "LINK"), 4, "link"),
    (("1", "--picture", "TEXT"), 4, "JPEG, PNG, WebP or HEIC"), (("1", "--history", "--wash", "x"), 2, "only tells"),
])  # fmt: skip
def test_bad_input_notes_nothing(
    bench: Homed, picture: Path, tmp_path: Path, words: tuple[str, ...], code: int, why: str
) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link").symlink_to(picture)
    (tmp_path / "text").write_text("no picture")
    named = {"FILE": picture, "PIPE": tmp_path / "pipe", "LINK": tmp_path / "link", "TEXT": tmp_path / "text"}
    bench.call("note", *[named.get(word, word) for word in words]).refused(code, why)
    with journal(Home(bench.folder)) as store:
        assert store.notes(PrintNote) == {}
    assert not (bench.folder / "pictures").exists()


@pytest.mark.parametrize(("words", "code", "why"), [
    (("--verdict", "purple"), 2, "purple"), (("--limit", "0"), 2, "1 to"), (("--by", "moon"), 2, "one of label"),
    (("--day", "2026-02-30"), 2, "YYYY-MM-DD"), (("--from", "2026-02-02", "--to", "2026-02-01"), 2, "after"),
    (("--day", "2026-02-02", "--to", "2026-02-01"), 2, "leave one out"), (("--target", "violet"), 4, "no target"),
])  # fmt: skip
def test_bad_searches(bench: Homed, words: tuple[str, ...], code: int, why: str) -> None:
    bench.call("prints", *words).refused(code, why)


def test_a_home_without_a_journal(home: Homed) -> None:
    for words in (("prints",), ("note", "1"), ("target", "drift", "blue")):
        home.call(*words).refused(4, "no journal")


def test_numbers() -> None:
    assert numbers_of(["12-14", "3", "13,20"]) == [12, 13, 14, 3, 20]
    assert len(numbers_of([f"1-{MOST_PRINTS}"])) == MOST_PRINTS
    with pytest.raises(Refusal, match="at most"):
        numbers_of([f"1-{MOST_PRINTS}", "900"])


def test_another_writer_in_the_home_is_told(bench: Homed) -> None:
    with lock(Home(bench.folder), "another"):
        bench.call("note", 1, "--wash", "x").refused(4, "in use by another")
    assert bench.call("note", 1, "--wash", "x").code == 0


def test_while_it_is_in_the_light_and_two_at_once_keep_the_words_of_both(daemon: Daemon, picture: Path) -> None:
    assert daemon.call("target", "set", "blue", "--dose", 50_000).code == 0
    assert daemon.call("expose", "blue", "--label", "fern").code == 0
    said = [("--wash", "long"), ("--toning", "tea"), ("--humidity", "55"), ("--dilution", "1+1"),
            ("--drying-delay", "12m"), ("--picture", str(picture))]  # fmt: skip
    with ThreadPoolExecutor(6) as many:
        ran = list(many.map(lambda words: daemon.run("note", 1, *words), said))
    assert [r.code for r in ran] == [0] * 6, ran
    [row] = daemon.told("note", 1)["prints"]
    assert row["state"] == "counting" and len(row["note"]) == 6 and row["picture"]["state"] == "whole"
    assert len(daemon.told("note", 1, "--history")["prints"][0]["history"]) == 6
    asked = need_daemon(Home(daemon.folder))
    with pytest.raises(Refusal, match="changed meanwhile"):
        asked.post("notes", NoteRequest("print", {"wash": "short"}, "1", 1), NoteTaken)
    for subject in (None, "fern"):
        with pytest.raises(Refusal, match="the print's number") as err:
            asked.post("notes", NoteRequest("print", {"wash": "x"}, subject), NoteTaken)
        assert err.value.code == 2
    for data in ({"picture": {"sha256": "../x", "kind": "jpg", "bytes": 1}}, {"humidity_percent": 101}, {"loud": 1}):
        with pytest.raises(Refusal, match="print: "):
            asked.post("notes", NoteRequest("print", data, "1"), NoteTaken)
    found = json.loads(daemon.run("prints", "--label", "fern", "--json").out)
    assert found["found"] == 1 and found["prints"][0]["note"]["toning"] == "tea"
