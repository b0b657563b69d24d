"""Notes in the journal: only ever appended, the newest holds, numbers given once, brought over however it is kept."""

from __future__ import annotations

import json
import math
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from cli.conftest import SIMULATED, Daemon, Homed

from uvdose.cli.keeping import keep_note
from uvdose.config import Home
from uvdose.journal.care import look_after
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import VERSION, migrate, open_reading, open_writing
from uvdose.journal.store import Store
from uvdose.model import Refusal
from uvdose.notes import MAX_STEPS, MAX_TEXT, Calibration, Edition, Film, FilmDensity, Layer, Seen, TabletPlan, Verdict
from uvdose.notes import checked as check

from .journals import content, fill

PLAN = Calibration(TabletPlan(2000.0, (0.05, 0.2), "2x0.15"), "mJ/cm2", "sill")


def _rows(path: Path) -> list[tuple[str, str, str]]:
    db = sqlite3.connect(path)
    rows = [(str(k), str(s), str(d)) for k, s, d in db.execute("SELECT kind, subject, data FROM note ORDER BY id")]
    db.close()
    return rows


def _store(path: Path) -> Store:
    return Store(open_reading(path))


def test_appended_newest_holds_and_history_stays(tmp_path: Path) -> None:
    home = Home(tmp_path)
    said = [Verdict("dark"), Verdict("dark", 0.5), Verdict("right", text="looked again")]
    kept = []
    for verdict in said:
        keep_note(home, "verdict", "7", verdict)
        rows = _rows(home.journal_file)
        assert rows[: len(kept)] == kept, "what was there is untouched"
        kept = rows
    keep_note(home, "verdict", "3", Verdict("light"))
    store = _store(home.journal_file)
    assert store.notes(Verdict) == {"7": said[-1], "3": Verdict("light")}, "in the order in which they were begun"
    history = store.note_history(Verdict, "7")
    assert [v for _, v in history] == said and [w for w, _ in history] == sorted(w for w, _ in history)
    assert store.note_history(Verdict, "8") == [] and store.notes(Film) == {}


def test_a_number_is_given_once_under_the_lock_with_the_daemon_and_after_a_restart(tmp_path: Path) -> None:
    homed = Homed(tmp_path / "home").write(SIMULATED)
    home = Home(homed.folder)
    assert [keep_note(home, "calibration", None, PLAN) for _ in range(3)] == ["1", "2", "3"]
    for expected in (range(4, 10), range(10, 16)):
        daemon = Daemon(homed.folder)
        try:
            with ThreadPoolExecutor(6) as many:
                numbers = list(many.map(lambda _: keep_note(home, "calibration", None, PLAN), range(6)))
        finally:
            daemon.stop()
        assert sorted(map(int, numbers)) == list(expected)
    assert keep_note(home, "calibration", None, PLAN) == "16"
    assert keep_note(home, "calibration", "2", PLAN) == "2", "one more word on it takes no number"
    assert keep_note(home, "calibration", None, PLAN) == "17"
    subjects = [s for _, s, _ in _rows(home.journal_file)]
    assert subjects == [*map(str, range(1, 17)), "2", "17"]


def test_numbers_not_yet_on_disk_are_not_given_again(tmp_path: Path) -> None:
    recorder = Recorder(open_writing(tmp_path / "journal.sqlite3"), lambda t: t)
    assert [recorder.note("calibration", None, PLAN, 0)[0] for _ in range(3)] == ["1", "2", "3"]


@pytest.mark.parametrize("have", [1, 2])
def test_an_older_journal_gains_notes_and_keeps_its_exposures(tmp_path: Path, have: int) -> None:
    path = tmp_path / "journal.sqlite3"
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, 0, have)
    columns = "id, sensor, begin_us, begin_wall_us, plan, state, settled, shown"
    for i in range(1, 4):
        db.execute(f"INSERT INTO exposure ({columns}) VALUES (?, 1, 0, ?, '{{}}', 'finished', 1, '{{}}')", (i, i))
        db.execute("INSERT INTO act (exposure, number, act, t_us, wall_us, mark) VALUES (?, 0, 'light', 5, 6, '{}')",
                   (i,))  # fmt: skip
    db.close()
    before = content(path)
    db = open_writing(path)
    assert db.execute("PRAGMA user_version").fetchone()[0] == VERSION
    assert db.execute("SELECT count(*) FROM note").fetchone()[0] == 0
    assert db.execute("SELECT closed FROM act").fetchall() == [(None,)] * 3
    db.close()
    after = content(path)
    for table in ("exposure", "act"):
        width = len(next(iter(before[table])))
        assert {row[:width] for row in after[table]} == before[table]
    [copy] = tmp_path.glob(f"journal.schema-{have}*")
    assert content(copy) == before
    assert keep_note(Home(tmp_path), "verdict", "2", Verdict("right")) == "2"


def test_rescue_backup_and_check_know_notes(tmp_path: Path) -> None:
    home = Home(tmp_path / "home")
    home.folder.mkdir()
    fill(home.journal_file).close()
    for i in range(25):
        keep_note(home, "film", f"film{i}", Film(FilmDensity(0.1, 0.12, 0.14), text="clear base " * 20))
    notes = _rows(home.journal_file)
    homed = Homed(home.folder)
    backup = tmp_path / "backup.sqlite3"
    assert homed.call("journal", "backup", backup).code == 0
    assert _rows(backup) == notes
    told = homed.run("journal", "check", "--json")
    assert told.code == 0 and json.loads(told.out)["counts"]["note"] == 25, told

    db = sqlite3.connect(home.journal_file)
    size = int(db.execute("PRAGMA page_size").fetchone()[0])
    page = int(db.execute("SELECT max(pageno) FROM dbstat WHERE name = 'event'").fetchone()[0])
    db.close()
    raw = bytearray(home.journal_file.read_bytes())
    raw[(page - 1) * size : page * size] = b"\xa5" * size
    home.journal_file.write_bytes(bytes(raw))
    assert homed.run("journal", "check").code == 1
    [line] = look_after(home.journal_file)
    assert "was damaged" in line
    assert _rows(home.journal_file) == notes


@pytest.mark.parametrize(("kind", "data", "why"), [
    ("dream", {}, "no note of kind"),
    ("verdict", {"tone": "purple"}, "purple"),
    ("verdict", {"loudness": 3}, "loudness"),
    ("verdict", {"stops": math.nan}, "finite"),
    ("verdict", {"text": "a\nb"}, "printable"),
    ("verdict", {"text": "x" * (MAX_TEXT + 1)}, "printable"),
    ("edition", {"prints": 3}, "layers"),
    ("edition", {"prints": "three", "layers": []}, "int"),
    ("edition", {"prints": 10**400, "layers": []}, "401 digits"),
    ("calibration", {"plan": {"type": "strip", "doses": [1.0] * (MAX_STEPS + 1)}, "unit": "mJ/cm2"}, "at most"),
    ("calibration", {"plan": {"type": "rope", "doses": [1.0]}, "unit": "mJ/cm2"}, "rope"),
    ("calibration", {"plan": {"type": "strip", "doses": [math.inf]}, "unit": "mJ/cm2"}, "finite"),
])  # fmt: skip
def test_what_is_no_note_is_refused(kind: str, data: dict[str, object], why: str) -> None:
    with pytest.raises(Refusal, match=why) as err:
        check(kind, data)
    assert err.value.code == 2


def test_every_kind_comes_back_as_it_was(tmp_path: Path) -> None:
    home = Home(tmp_path)
    seen = Seen("density", values=(1.5, None, 0.2), base=0.05)
    notes = [
        ("calibration", Calibration(PLAN.plan, "counts.s", None, {"paper": "rag"}, FilmDensity(0.1, 0.2, 0.3), False,
                                    seen, "blue v1", True)),
        ("verdict", Verdict("dark", 0.5, 1.2, "blank", "wet")), ("film", Film(shadow=FilmDensity(0, 0, 0))),
        ("edition", Edition(3, (Layer("blue", 2, "sky"),), 0.2, "for the fair")),
    ]  # fmt: skip
    for kind, note in notes:
        keep_note(home, kind, "1", note)
    store = _store(home.journal_file)
    assert [next(iter(store.notes(type(note)).values())) for _, note in notes] == [note for _, note in notes]
