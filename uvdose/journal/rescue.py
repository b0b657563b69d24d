"""What can still be read out of a damaged journal, brought over into a fresh one, and what cannot, told."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import msgspec

from ..dose.minute import MINUTE_US
from .pack import inflated
from .prune import pruned
from .replay import rebuild
from .schema import VERSION, migrate
from .store import Store

MAX_ERRORS = 2000  # reads that may fail in one table before the rest of its hole is given up
BLIND_IDS = 100_000  # how far past the last row that could be read others are looked for

WORDS = {
    "target": "targets", "exposure": "exposures", "act": "acts", "event": "events", "call": "calls",
    "note": "notes",
    "chunk": "blocks of up to 120 readings", "sensor": "sensors", "epoch": "epochs of time", "meta": "home's own rows",
}  # fmt: skip
_SKIP = ("migration",)
_SUMS = ("minute", "summed")  # made anew of readings that could be read
# Columns that hold JSON, in every schema.
JSON = {
    "target": ("target",), "exposure": ("plan", "shown"), "act": ("mark",), "sensor": ("identity",),
    "epoch": ("epoch",), "event": ("data",), "note": ("data",),
}  # fmt: skip


class _Unreadable:
    """Stands for text that is no UTF-8."""


def text_of(data: bytes) -> object:
    """Text as SQLite holds it; for `row_fault` to find where it is none."""
    try:
        return data.decode()
    except UnicodeDecodeError:
        return _Unreadable()


def row_fault(table: str, columns: Sequence[str], row: Sequence[object]) -> str | None:
    """What is wrong with what a row holds: packed readings or JSON that are not whole; None when nothing is."""
    for column, value in zip(columns, row, strict=True):
        try:
            if isinstance(value, _Unreadable):
                return f"{column} is no text"
            if (table, column) == ("chunk", "data"):
                if not isinstance(value, bytes) or not inflated(value):
                    return "no packed readings"
            elif column in JSON.get(table, ()):
                if not isinstance(value, str):
                    return f"{column} is no text"
                msgspec.json.decode(value)
        except (ValueError, msgspec.MsgspecError) as err:
            return str(err)
    return None


class _Table:
    """One table brought over. lost: rows that are known to be gone; whole: whether all of it could be read."""

    def __init__(self, old: sqlite3.Connection | None, new: sqlite3.Connection, name: str) -> None:
        self.name = name
        self.lost = 0
        self.whole = True
        self._errors = 0
        self._old = old
        self._new = new
        info = new.execute(f"PRAGMA table_info({name})").fetchall()
        try:
            there = {str(r[1]) for r in old.execute(f"PRAGMA table_info({name})")} if old is not None else set()
        except (sqlite3.Error, UnicodeDecodeError):
            there = set()
        self._columns = [str(r[1]) for r in info if r[1] in there]
        self._keys = [str(r[1]) for r in sorted(info, key=lambda r: r[5]) if r[5]]
        self._by_id = self._keys == ["id"]
        if set(self._keys) <= set(self._columns):
            self._bring()
        else:
            self.whole = False
        self.brought = int(new.execute(f"SELECT count(*) FROM {name}").fetchone()[0])

    def _bring(self) -> None:
        up = self._read("1", (), "")
        if up is None:
            return
        down = self._read("1", (), " DESC")
        if self._by_id:
            known = down[0] - 1 if down and down[0] else self._last_id()
            self._between(up[0] + 1, known if known is not None else up[0] + BLIND_IDS)
            if known is None:
                self.lost, self.whole = 0, False
        else:
            self.whole = False

    def _last_id(self) -> int | None:
        """The last row's id out of an index, which holds it too; None when no index can be read."""
        assert self._old is not None
        ids = []
        for row in self._new.execute(f"PRAGMA index_list({self.name})").fetchall():
            try:
                index = f"(SELECT id FROM {self.name} INDEXED BY {row[1]})"
                ids.append(int(self._old.execute(f"SELECT max(id) FROM {index}").fetchone()[0]))
            except (sqlite3.Error, TypeError, ValueError):
                continue
        return max(ids, default=None)

    def _read(self, where: str, values: tuple[object, ...], order: str) -> tuple[int] | None:
        """Rows in the order of their keys, as far as they can be read; None when all could, else the last one's id."""
        assert self._old is not None
        names = ", ".join(self._columns)
        by = ", ".join(key + order for key in self._keys)
        put = f"INSERT OR REPLACE INTO {self.name} ({names}) VALUES ({', '.join('?' * len(self._columns))})"
        last = 0
        try:
            for row in self._old.execute(f"SELECT {names} FROM {self.name} WHERE {where} ORDER BY {by}", values):
                if self._by_id:
                    last = int(row[self._columns.index("id")])
                if row_fault(self.name, self._columns, row) is not None:
                    self.lost += 1
                    continue
                self._new.execute(put, row)
        except (sqlite3.Error, ValueError, TypeError):
            self._errors += 1
            return (last,)
        return None

    def _between(self, first: int, last: int) -> None:
        """Rows by id in a hole: halved again and again around what cannot be read."""
        if first > last:
            return
        if self._errors > MAX_ERRORS:
            self.whole = False
            return
        stopped = self._read("id BETWEEN ? AND ?", (first, last), "")
        if stopped is None:
            return
        if first == last:
            self.lost += 1
            return
        begin = max(first, stopped[0] + 1)
        middle = (begin + last) // 2
        if begin > last:
            return
        if begin == last:
            self._between(last, last)
            return
        self._between(begin, middle)
        self._between(middle + 1, last)


def rescue(path: Path, fresh: Path, aside_name: str, why: str) -> str:
    """Make `fresh` out of what the damaged `path` lets be read; the line that tells it all. Raises sqlite3.Error."""
    with closing(sqlite3.connect(fresh, isolation_level=None)) as new:
        # A cut-off rescue is begun anew, so that nothing here needs to survive a crash before its end.
        new.execute("PRAGMA journal_mode=MEMORY")
        new.execute("PRAGMA synchronous=OFF")
        old = _open(path)
        try:
            have = _version(old)
            migrate(new, 0, have)
            new.execute("BEGIN")
            names = [str(r[0]) for r in new.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            tables = [_Table(old, new, n) for n in names if n not in _SKIP]
        finally:
            if old is not None:
                old.close()
        new.execute("COMMIT")
        migrate(new, have)
        new.execute("BEGIN")
        dropped = _tidy(new)
        if dropped or any(t.lost or not t.whole for t in tables if t.name in ("chunk", "sensor", *_SUMS)):
            _sum_anew(new)
        line = (
            f"journal {path.name} was damaged ({why}): it is set aside as {aside_name} and a fresh one is begun;"
            f" {_brought(tables, new)}; {_not_brought(tables, dropped)}"
        )
        new.execute("INSERT OR REPLACE INTO meta VALUES ('set_aside', ?)", (aside_name,))
        new.execute("INSERT OR REPLACE INTO meta VALUES ('rescued', ?)", (line,))
        new.execute("COMMIT")
    return line


def _open(path: Path) -> sqlite3.Connection | None:
    """The damaged journal for reading, its log with it; None when nothing can be read at all."""
    db = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None)
    db.text_factory = text_of
    try:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except (sqlite3.Error, UnicodeDecodeError):
        db.close()
        return None
    return db


def _version(old: sqlite3.Connection | None) -> int:
    have = int(old.execute("PRAGMA user_version").fetchone()[0]) if old is not None else VERSION
    return have if 0 < have <= VERSION else VERSION


def _tidy(new: sqlite3.Connection) -> list[str]:
    """Let go of what has lost what it belongs to: a sensor's row gives readings and exposures their meaning."""
    told = []
    for table, what in (("chunk", "blocks of readings"), ("exposure", "exposures")):
        gone = new.execute(f"DELETE FROM {table} WHERE sensor NOT IN (SELECT id FROM sensor)").rowcount
        if gone:
            told.append(f"{gone} {what} whose sensor could not be read")
    new.execute("DELETE FROM call WHERE exposure NOT IN (SELECT id FROM exposure)")
    store = Store(new)
    for kept in store.unsettled():
        try:
            rebuild(store, kept)
        except Exception as err:
            new.execute("UPDATE exposure SET settled = 1 WHERE id = ?", (kept.plan.id,))
            new.execute("UPDATE call SET ended_us = t_us WHERE exposure = ? AND ended_us IS NULL", (kept.plan.id,))
            told.append(f"exposure {kept.plan.id} is no longer counted, its acts are not whole ({err})")
    return told


def _sum_anew(new: sqlite3.Connection) -> None:
    """Sums and readings must agree: only sums whose readings were pruned stay, the others are made of what is left."""
    ids: dict[str, list[int]] = {}
    for number, name in new.execute("SELECT id, name FROM sensor"):
        ids.setdefault(str(name), []).append(int(number))
    new.execute("CREATE TEMP TABLE kept AS SELECT * FROM minute WHERE 0")
    for gone in pruned(new):
        # Whole minutes of it: at its ends some of a minute may still be there to be read.
        first, last = gone.wall0_us // MINUTE_US + 1, gone.wall1_us // MINUTE_US - 1
        for number in ids.get(gone.sensor, []):
            new.execute(
                "INSERT INTO kept SELECT * FROM minute WHERE sensor = ? AND minute BETWEEN ? AND ?",
                (number, first, last),
            )
    new.execute("DELETE FROM minute")
    new.execute("INSERT OR IGNORE INTO minute SELECT * FROM kept")
    new.execute("DROP TABLE kept")
    new.execute("DELETE FROM summed")


def _brought(tables: list[_Table], new: sqlite3.Connection) -> str:
    readings = int(new.execute("SELECT coalesce(sum(n), 0) FROM chunk").fetchone()[0])
    found = [f"{t.brought} {WORDS.get(t.name, t.name)}" for t in tables if t.name in ("target", "exposure", "event")]
    if not any(t.brought for t in tables if t.name != "meta"):
        return "nothing in the old one could be read"
    return ", ".join([f"brought over: {found[0]}", *found[1:], f"{readings} readings"])


def _not_brought(tables: list[_Table], dropped: list[str]) -> str:
    told = [t for t in tables if t.name not in _SUMS]
    words = [f"{t.lost} {WORDS.get(t.name, t.name)}" for t in told if t.lost]
    words += [f"an unknown number of {WORDS.get(t.name, t.name)}" for t in told if not t.whole]
    words += dropped
    if not any(t.brought for t in tables if t.name != "meta"):
        return "exposure numbers begin again at 1"
    return "not brought over: " + ", ".join(words) if words else "everything in it could be read"
