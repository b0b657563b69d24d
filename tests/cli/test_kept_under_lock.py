"""Without a daemon, a note or a target is kept whole, or refused in one line where the disk has no room."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from uvdose.asked import TargetRequest
from uvdose.cli.keeping import change_note, keep_note, keep_target
from uvdose.config import Home
from uvdose.journal import schema
from uvdose.model import Refusal
from uvdose.notes import PrintNote, Verdict

TEXT = "edges soft " * 40
MANY = 50  # such texts are more than any page of SQLite's
WAYS: list[Callable[[Home], object]] = [
    lambda home: keep_target(home, TargetRequest("blue", 60.0, "V.s", reason=TEXT)),
    lambda home: keep_note(home, "verdict", "1", Verdict("dark", text=TEXT)),
    lambda home: change_note(home, PrintNote, "1", lambda number, _: PrintNote(text=f"{TEXT} {number}")),
]


@pytest.mark.parametrize("keep", WAYS)
def test_a_full_disk_is_told_and_nothing_is_kept_in_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keep: Callable[[Home], object]
) -> None:
    """SQLite's own bound on pages stands in for the disk's end: it raises the same error."""
    home, made = Home(tmp_path), 0
    schema.open_writing(home.journal_file).close()
    opened = schema.open_writing

    def bounded(path: Path) -> sqlite3.Connection:
        db = opened(path)
        db.execute("PRAGMA max_page_count = 1")  # what the file has already stays its own
        return db

    monkeypatch.setattr(schema, "open_writing", bounded)
    with pytest.raises(Refusal, match=r"full; nothing was kept: make room on its disk"):
        for _ in range(MANY):
            keep(home)
            made += 1
    monkeypatch.undo()
    with closing(schema.open_reading(home.journal_file)) as db:
        assert db.execute("SELECT (SELECT count(*) FROM target) + (SELECT count(*) FROM note)").fetchone()[0] == made
    keep(home)
