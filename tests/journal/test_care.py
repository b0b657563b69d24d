"""A damaged journal is set aside as it is, what can be read is brought over, and what cannot is told."""

from __future__ import annotations

import os
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from uvdose.journal import care
from uvdose.journal.care import damage, forget_told, look_after, untold
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import VERSION, home_id, open_writing
from uvdose.model import Refusal

from .journals import content, fill

SEEDS = 400 if os.environ.get("UVDOSE_LONG") else 40


def _aside(folder: Path) -> list[Path]:
    return sorted(p for p in folder.iterdir() if ".damaged-" in p.name and p.suffix == ".sqlite3")


def _page_of(path: Path, table: str, which: int) -> tuple[int, int]:
    """Offset and size of a page of a table."""
    db = sqlite3.connect(path)
    size = int(db.execute("PRAGMA page_size").fetchone()[0])
    pages = [int(r[0]) for r in db.execute("SELECT pageno FROM dbstat WHERE name = ? ORDER BY pageno", (table,))]
    db.close()
    return (pages[which] - 1) * size, size


def _spoil(path: Path, offset: int, data: bytes) -> bytes:
    raw = bytearray(path.read_bytes())
    raw[offset : offset + len(data)] = data
    path.write_bytes(bytes(raw))
    return bytes(raw)


def test_a_sound_journal_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    fill(path).close()
    before = path.read_bytes()
    assert look_after(path) == [] and damage(path) is None
    assert path.read_bytes() == before and not _aside(tmp_path)
    assert look_after(tmp_path / "none" / "journal.sqlite3") == []


@pytest.mark.parametrize("table", ["chunk", "event", "target", "sensor", "meta"])
def test_a_spoiled_page_costs_only_what_was_on_it(tmp_path: Path, table: str) -> None:
    path = tmp_path / "journal.sqlite3"
    db = fill(path)
    home = home_id(db)
    db.close()
    before = content(path)
    spoiled = _spoil(path, *((o := _page_of(path, table, -1))[0], b"\xa5" * o[1]))
    [line] = look_after(path)
    [aside] = _aside(tmp_path)
    assert aside.read_bytes() == spoiled and aside.name in line and "was damaged" in line
    db = open_writing(path)
    assert untold(db) == [line]
    for sql, values in forget_told():
        db.execute(sql, values)
    assert untold(db) == []
    assert (home_id(db) == home) == (table != "meta")
    db.close()
    after = content(path)
    for name, rows in before.items():
        if name in ("meta", "migration"):
            continue
        if name == table:
            assert after[name] <= rows
        elif name == "chunk" and table == "sensor":
            assert not after[name] and "60 blocks of readings whose sensor" in line
        else:
            assert after[name] == rows, name
    if table == "chunk":
        lost = len(before[table]) - len(after[table])
        assert 0 < lost < 10 and f"not brought over: {lost} blocks of up to 120 readings" in line
    if table in ("target", "event"):
        assert len(after[table]) > len(before[table]) / 2 and "not brought over: " in line
    assert look_after(path) == []


def test_readings_whose_bytes_have_rotted_are_found_though_every_page_is_sound(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    db = fill(path)
    data = bytearray(db.execute("SELECT data FROM chunk WHERE id = 58").fetchone()[0])
    data[len(data) // 2] ^= 4
    db.execute("UPDATE chunk SET data = ? WHERE id = 58", (bytes(data),))
    db.close()
    [line] = look_after(path)
    assert "readings 58" in line and "not brought over: 1 blocks" in line
    assert len(content(path)["chunk"]) == 59


@pytest.mark.parametrize("seed", range(SEEDS))
def test_whatever_is_spoiled_the_daemon_can_begin_and_nothing_is_made_up(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    path = tmp_path / "journal.sqlite3"
    fill(path, chunks=20, targets=25, events=60).close()
    before = content(path)
    size = path.stat().st_size
    raw = path.read_bytes()
    how = rng.choice(["bytes", "page", "pages", "cut", "zeros"])
    if how == "cut":
        path.write_bytes(raw[: rng.randrange(1, size)])
    elif how == "bytes":
        for _ in range(rng.randrange(1, 30)):
            _spoil(path, rng.randrange(size), rng.randbytes(rng.randrange(1, 9)))
    else:
        for _ in range(1 if how == "page" else 6):
            page = rng.randrange(size // 4096) * 4096
            _spoil(path, page, bytes(4096) if how == "zeros" else rng.randbytes(4096))
    spoiled = path.read_bytes()
    try:
        lines = look_after(path)
    except Refusal as err:  # the version in the header was hit: not ours to judge, and nothing is touched
        assert ("newer" in err.line or "another program" in err.line) and path.read_bytes() == spoiled
        return
    db = open_writing(path)
    assert [r[0] for r in db.execute("PRAGMA quick_check")] == ["ok"]
    db.close()
    if lines:
        assert [a.read_bytes() for a in _aside(tmp_path)] == [spoiled]
    after = content(path)
    made_up = {t: after[t] - before[t] for t in ("chunk",)}
    assert not made_up["chunk"]
    assert len(after["target"]) + len(after["event"]) <= 25 + 60


def test_text_that_is_no_utf_8_within_a_row_is_found(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    fill(path, chunks=2, targets=2, events=60).close()
    raw = path.read_bytes()
    _spoil(path, raw.index(b"silent silent") + 20, b"\xff\xfe")
    [line] = look_after(path)
    assert "event" in line
    content(path)


def test_a_file_that_is_no_journal_and_an_empty_one(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    path.write_bytes(b"not a database at all" * 100)
    [line] = look_after(path)
    assert "nothing in the old one could be read" in line and "begin again at 1" in line
    assert _aside(tmp_path)[0].read_bytes() == b"not a database at all" * 100
    open_writing(path).close()
    path.write_bytes(b"")
    [line] = look_after(path)
    assert "empty" in line
    open_writing(path).close()


def test_a_log_without_its_journal_is_kept(tmp_path: Path) -> None:
    path, wal = tmp_path / "journal.sqlite3", tmp_path / "journal.sqlite3-wal"
    wal.write_bytes(b"the only copy")
    [line] = look_after(path)
    assert "set aside" in line
    open_writing(path).close()
    assert [p.read_bytes() for p in tmp_path.glob("*damaged*-wal")] == [b"the only copy"]


def test_rows_that_are_only_in_the_log_are_brought_over_too(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    fill(path).close()
    db = open_writing(path)
    db.execute("PRAGMA wal_autocheckpoint = 0")
    db.execute("INSERT INTO target VALUES ('late', 1, '{}')")
    other = tmp_path / "crashed"
    other.mkdir()
    for end in ("", "-wal"):
        (other / (path.name + end)).write_bytes(path.with_name(path.name + end).read_bytes())
    db.close()
    crashed = other / path.name
    _spoil(crashed, *((o := _page_of(path, "event", -1))[0], b"\xa5" * o[1]))
    assert len(look_after(crashed)) == 1
    assert ("late", 1, "{}") in content(crashed)["target"]
    assert len(list(other.glob("*damaged*-wal"))) == 1


@pytest.mark.parametrize("step", range(1, 6))
def test_a_kill_at_each_step_is_made_good_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    path = tmp_path / "journal.sqlite3"
    fill(path).close()
    targets = content(path)["target"]
    spoiled = _spoil(path, *((o := _page_of(path, "chunk", -1))[0], b"\xa5" * o[1]))
    path.with_name(path.name + "-wal").write_bytes(b"")
    steps = iter(range(1, 100))

    class Killed(BaseException):
        pass

    def dying(real):  # type: ignore[no-untyped-def]
        def call(*args: object) -> object:
            if next(steps) == step:
                raise Killed
            return real(*args)

        return call

    with monkeypatch.context() as patched:
        patched.setattr(care, "sync", dying(care.sync))
        patched.setattr(Path, "rename", dying(Path.rename))
        patched.setattr(Path, "replace", dying(Path.replace))
        with pytest.raises(Killed):
            look_after(path)
    look_after(path)
    db = open_writing(path)
    assert len(untold(db)) == 1
    db.close()
    assert content(path)["target"] == targets
    assert [a.read_bytes() for a in _aside(tmp_path)] == [spoiled]
    assert not list(tmp_path.glob("*rescue*"))


def test_what_a_kill_left_half_written_in_a_copy_that_was_put_back_is_undone(tmp_path: Path) -> None:
    """The pages and the rollback journal of a write that never ended, as a kill leaves them."""
    whole, path = tmp_path / "whole.sqlite3", tmp_path / "journal.sqlite3"
    with closing(fill(whole)) as db:
        db.execute("PRAGMA journal_mode=DELETE")
        before = content(whole)
        db.execute("PRAGMA cache_size=2")
        db.execute("BEGIN IMMEDIATE")
        db.execute("UPDATE event SET data = '{}'")
        for end in ("", "-journal"):
            path.with_name(path.name + end).write_bytes(whole.with_name(whole.name + end).read_bytes())
        db.execute("ROLLBACK")
    assert path.read_bytes() != whole.read_bytes() and path.with_name(path.name + "-journal").stat().st_size > 0
    assert look_after(path) == [] and content(path) == before
    open_writing(path).close()


def test_a_newer_journal_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite3"
    db = fill(path)
    db.execute(f"PRAGMA user_version = {VERSION + 1}")
    db.close()
    with pytest.raises(Refusal, match="newer uvdose"):
        look_after(path)
    assert not _aside(tmp_path)


def test_a_number_on_a_sheet_is_never_given_twice(tmp_path: Path) -> None:
    db = open_writing(tmp_path / "journal.sqlite3")
    db.execute("INSERT INTO event VALUES (1, 0, 0, 'started', 17, 'sill', '{}')")
    assert Recorder(db, lambda t: t).next_exposure() == 18
