"""Migrations: each one whole with its record, an older journal copied first, what cannot be brought up refused."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest

from uvdose.journal import schema
from uvdose.journal.copying import beside, copy_to, part_beside
from uvdose.journal.schema import VERSION, Older, migrate, open_reading, open_writing
from uvdose.model import Refusal

from .journals import content, fill


def _first(path: Path, exposures: int = 1) -> None:
    """A journal of the first schema."""
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, 0, 1)
    for i in range(exposures):
        db.execute("INSERT INTO exposure VALUES (?, 1, 0, 0, '{}', 'finished', 1, '{}')", (i + 1,))
    db.close()


def _copies(folder: Path) -> list[Path]:
    return sorted(folder.glob("journal.schema-*"))


def test_a_new_journal_records_each_migration(tmp_path: Path) -> None:
    db = open_writing(tmp_path / "journal.sqlite3")
    rows = db.execute("SELECT version, utc, program FROM migration ORDER BY version").fetchall()
    assert [r[0] for r in rows] == list(range(1, VERSION + 1))
    assert all(r[1].endswith("Z") and r[2] for r in rows)
    assert not _copies(tmp_path)


def test_an_older_journal_with_exposures_is_copied_and_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    _first(path)
    before = content(path)
    with pytest.raises(Older, match=r"older uvdose \(schema 1"):
        open_reading(path)
    db = open_writing(path)
    assert db.execute("PRAGMA user_version").fetchone()[0] == VERSION
    db.close()
    open_reading(path).close()
    [copy] = _copies(tmp_path)
    assert content(copy) == before


def test_half_a_copy_that_a_kill_left_is_taken_away(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    _first(path)
    half = part_beside(beside(path, "schema-1"), replace=False)
    others = [tmp_path / ".backup.sqlite3.1.part", tmp_path / "journal.schema-1-20260101-000000.sqlite3"]
    for left in (half, half.with_name(half.name + "-journal"), *others):
        left.write_bytes(b"half")
    open_writing(path).close()
    assert not list(tmp_path.glob(".journal*")) and all(other.read_bytes() == b"half" for other in others)
    assert len(_copies(tmp_path)) == 2


def test_one_without_exposures_needs_no_copy(tmp_path: Path) -> None:
    _first(tmp_path / "journal.sqlite3", exposures=0)
    open_writing(tmp_path / "journal.sqlite3").close()
    assert not _copies(tmp_path)


@pytest.mark.parametrize("failing", ["CREATE TABLE act (x)", "INSERT INTO nowhere VALUES (1)"])
def test_a_migration_that_fails_leaves_the_journal_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    path = tmp_path / "journal.sqlite3"
    fill(path).execute("INSERT INTO exposure (id, sensor, begin_us, begin_wall_us, plan, state, settled, shown)"
                       " VALUES (1, 1, 0, 0, '{}', 'finished', 1, '{}')").connection.close()  # fmt: skip
    before = content(path)
    later = {**schema._MIGRATIONS, VERSION + 1: ["CREATE TABLE extra (x)", failing]}
    with monkeypatch.context() as patched:
        patched.setattr(schema, "_MIGRATIONS", later)
        patched.setattr(schema, "VERSION", VERSION + 1)
        with pytest.raises(Refusal):
            open_writing(path)
    assert content(path) == before and not _copies(tmp_path)
    open_writing(path).close()


def test_an_older_journal_that_can_only_be_read_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    _first(path)
    before = path.read_bytes()
    os.chmod(path, 0o400)
    if os.geteuid() != 0:  # root may write it all the same
        with pytest.raises(Refusal):
            open_writing(path)
        assert path.read_bytes() == before
    os.chmod(path, 0o600)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(Refusal, match="locked"):
        open_writing(path)
    other.execute("ROLLBACK")
    assert content(path) == content(path) and not _copies(tmp_path)


def test_rows_in_a_log_that_no_reader_can_take_in_are_told_with_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card mounted read-only after its daemon was killed; root may write all, so what SQLite says there stands in."""
    path = tmp_path / "journal.sqlite3"
    fill(path, chunks=2).close()

    def cannot(*_: object, **__: object) -> sqlite3.Connection:
        err = sqlite3.OperationalError("unable to open database file")
        err.sqlite_errorcode = sqlite3.SQLITE_CANTOPEN
        raise err

    monkeypatch.setattr(sqlite3, "connect", cannot)
    with pytest.raises(Refusal, match=r"unable to open database file$"):
        open_reading(path)
    monkeypatch.setattr(os, "access", lambda where, how: where != tmp_path)
    with pytest.raises(Refusal, match=r"copy both into one, and name it with --home"):
        open_reading(path)


def test_databases_of_others_are_refused_and_kept(tmp_path: Path) -> None:
    for version in (0, 1, VERSION):
        path = tmp_path / f"{version}.sqlite3"
        db = sqlite3.connect(path)
        db.execute("CREATE TABLE theirs (x)")
        db.execute(f"PRAGMA user_version = {version}")
        db.commit()
        db.close()
        for opened in (open_writing, open_reading):
            with pytest.raises(Refusal):
                opened(path)
        assert "theirs" in content(path)


def test_a_copy_is_whole_takes_no_name_that_is_taken_and_leaves_no_half(tmp_path: Path) -> None:
    db = fill(tmp_path / "journal.sqlite3")
    copy = tmp_path / "copy"
    assert copy_to(db, copy, replace=False) == copy.stat().st_size
    assert content(copy) == content(tmp_path / "journal.sqlite3")
    with pytest.raises(Refusal, match="--force"):
        copy_to(db, copy, replace=False)
    db.execute("DELETE FROM target")
    copy_to(db, copy, replace=True)
    assert not content(copy)["target"]
    for bad in (tmp_path, tmp_path / "none" / "copy"):
        with pytest.raises(Refusal):
            copy_to(db, bad, replace=True)
    assert sorted(p.name for p in tmp_path.iterdir() if "journal" not in p.name) == ["copy"]
    first = beside(copy, "x")
    first.touch()
    assert beside(copy, "x") != first
