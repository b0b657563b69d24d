"""Packing, migrating, writing when the disk fails, and counting again."""

from __future__ import annotations

import sqlite3
import threading
import zlib
from array import array
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from uvdose.journal.pack import MOMENT, REGISTER, pack, unpack, unpack_run, unpack_sat_ms, unpack_values
from uvdose.journal.rescue import row_fault
from uvdose.journal.schema import VERSION, home_id, open_reading, open_writing
from uvdose.journal.writer import Writer
from uvdose.model import MomentReading, Refusal, RegisterReading

_U32, _U63 = st.integers(0, 2**32 - 1), st.integers(0, 2**63 - 1)
_TIME = st.integers(0, 2**62)
_LINES = st.builds(RegisterReading, _U32, _U32, _U32, _U63, _U63, _U32, _U32, st.integers(0, 255))
_MOMENTS = st.builds(
    MomentReading, st.floats(allow_nan=False), st.none(), st.none() | st.integers(0, 2**53)
)


@given(st.lists(st.tuples(_TIME, _LINES), min_size=1, max_size=120))
def test_register_lines_come_out_as_they_went_in(rows: list[tuple[int, RegisterReading]]) -> None:
    assert unpack(REGISTER, pack(list(rows))) == rows


@given(st.lists(st.tuples(_TIME, _MOMENTS), min_size=1, max_size=120))
def test_moments_come_out_bit_for_bit(rows: list[tuple[int, MomentReading]]) -> None:
    out = unpack(MOMENT, pack(list(rows)))
    assert out == rows
    assert [r.value.hex() for _, r in out if isinstance(r, MomentReading)] == [r.value.hex() for _, r in rows]  # type: ignore[union-attr]


@given(st.binary(max_size=200))
def test_damaged_chunks_are_told(data: bytes) -> None:
    try:
        rows = unpack(REGISTER, data)
    except ValueError:
        return
    assert rows  # a chunk by chance is a chunk


def _of(columns: list[int]) -> bytes:
    return zlib.compress(array("q", columns).tobytes())


@pytest.mark.parametrize("data", [
    zlib.compress(bytes(9 * 8 * 200_000)), _of([0] * 9)[:-1], _of([0] * 10), _of([]), b"", None, "text", 7, 0.5,
])  # fmt: skip
def test_what_is_no_chunk_is_told_and_takes_no_memory(data: Any) -> None:
    """A journal from elsewhere may hold anything: 14 kilobytes that unpack to as many megabytes, or no bytes at all."""
    for read in (unpack_run, unpack_sat_ms, lambda d: unpack(REGISTER, d), lambda d: unpack_values(REGISTER, d)):
        with pytest.raises(ValueError, match="damaged chunk"):
            read(data)
    assert row_fault("chunk", ("data",), (data,)) or data == _of([0] * 10)


def test_a_chunk_of_a_kind_that_there_is_none_of_is_told() -> None:
    for kind in (0, 4, -1):
        with pytest.raises(ValueError, match="damaged chunk"):
            unpack(kind, _of([0] * 9))
        with pytest.raises(ValueError, match="damaged chunk"):
            unpack_values(kind, _of([0] * 9))


def test_a_native_reading_takes_under_40_bytes_on_disk(tmp_path: Path) -> None:
    db = open_writing(tmp_path / "j.sqlite3")
    register, n = 0, 0
    for chunk in range(300):
        rows = []
        for _ in range(120):
            n += 1
            level = 300_000 + (n * 7919) % 100_000
            register += level
            rows.append((n * 1_000_000 + (n * 37) % 900, RegisterReading(7, n, n * 1000, level, register, 0, 0, 0)))
        db.execute("INSERT INTO chunk VALUES (?, 1, 1, ?, ?, 0, 120, ?)", (chunk, rows[0][0], rows[-1][0], pack(rows)))
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert (tmp_path / "j.sqlite3").stat().st_size / n < 40


def test_a_new_journal_and_an_old_one(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite3"
    first = home_id(open_writing(path))
    assert home_id(open_writing(path)) == first == home_id(open_reading(path))
    assert home_id(open_writing(tmp_path / "other.sqlite3")) != first


def test_a_newer_journal_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite3"
    open_writing(path).execute(f"PRAGMA user_version = {VERSION + 1}")
    for opened in (open_writing, open_reading):
        with pytest.raises(Refusal, match="newer uvdose"):
            opened(path)


def test_a_file_that_is_no_journal_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite3"
    path.write_bytes(b"not a database at all" * 100)
    with pytest.raises(Refusal):
        open_writing(path)


def test_reading_without_a_journal(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="no journal"):
        open_reading(tmp_path / "none.sqlite3")


def test_what_cannot_be_written_waits_and_is_written_later(tmp_path: Path) -> None:
    """Another writer holds the file: the batch waits, trouble is told once, nothing is lost, order is kept."""
    path = tmp_path / "j.sqlite3"
    db = open_writing(path)
    db.execute("PRAGMA busy_timeout = 20")
    told: list[str] = []
    failed = threading.Event()
    writer = Writer(db, lambda line: (told.append(line), failed.set())[0])
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    done = [writer.commit([("INSERT INTO meta VALUES (?, ?)", (f"k{i}", str(i)))]) for i in range(5)]
    assert failed.wait(5) and not done[0].done()
    other.execute("COMMIT")
    for future in done:
        future.result(10)
    assert told[-1] == "" and len(told) == 2
    assert writer.close()
    kept = other.execute("SELECT key FROM meta WHERE key LIKE 'k%' ORDER BY key").fetchall()
    assert [r[0] for r in kept] == [f"k{i}" for i in range(5)]


def test_ending_while_the_disk_fails_says_so(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite3"
    db = open_writing(path)
    db.execute("PRAGMA busy_timeout = 20")
    writer = Writer(db, lambda line: None)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    done = writer.commit([("INSERT INTO meta VALUES ('k', 'v')", ())])
    writer.close()
    with pytest.raises(sqlite3.Error):
        done.result(5)
