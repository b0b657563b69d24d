"""The journal looked after before a daemon begins: checked, and when it is damaged set aside, what can be read kept.

The check is bounded in time. Everything but the readings is checked whole, always. The readings' pages are checked
whole in a file of up to `WHOLE_BYTES` (`PRAGMA quick_check` goes through 1 to 2 GB/s once the file is in memory) and
for at most `WHOLE_S`; beyond that, and for what their bytes say, the newest are read. `uvdose journal check` has no
such bound.

A damaged journal loses nothing silently: its files keep their content under a name with the date, and what could not
be read is told. The steps are ordered so that a kill between any two of them is made good at the next start: the fresh
journal is complete under a name of its own before the damaged one is touched, and says there how that will be called.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from ..clock import real_s
from ..model import Refusal
from .backlog import Statement
from .copying import beside, is_damage, sync
from .replay import PREROLL_US
from .rescue import JSON, rescue, row_fault, text_of
from .schema import version_of

WHOLE_BYTES = 256 << 20
WHOLE_S = 1.0
NEWEST_S = 0.1
ENDS = ("", "-wal", "-shm")


def look_after(path: Path) -> list[str]:
    """Check a journal, under the home's lock. Returns what a person must be told. Raises `Refusal`.

    After it `path` can be opened for writing: it is sound, or fresh.
    """
    lines: list[str] = []
    fresh = path.with_name(path.stem + ".rescue" + path.suffix)
    try:
        _finish_earlier(path, fresh)
        if path.exists() and not path.is_file():
            return lines  # refused when it is opened
        if not path.exists() or path.stat().st_size == 0:
            return _without(path)
        _undo_what_was_begun(path)
        why = damage(path)
        if why is None:
            return lines
        aside = beside(path, "damaged")
        lines.append(rescue(path, fresh, aside.name, why))
        sync(fresh)
        _set_aside(path, aside)
        fresh.replace(path)
        sync(path.parent)
    except sqlite3.Error as err:
        raise Refusal(f"journal {path} cannot be checked: {err}; nothing was changed") from None
    except OSError as err:
        raise Refusal(f"journal {path} cannot be looked after: {err.strerror or err}; nothing was lost") from None
    return lines


def untold(db: sqlite3.Connection) -> list[str]:
    """What befell the journal and is not yet recorded as an event; `forget_told` goes with its record."""
    return [str(r[0]) for r in db.execute("SELECT value FROM meta WHERE key = 'rescued'")]


def forget_told() -> list[Statement]:
    """Statements for when what was untold is recorded."""
    return [("DELETE FROM meta WHERE key IN ('rescued', 'set_aside')", ())]


def damage(path: Path) -> str | None:
    """What is wrong with a journal's file, within bounded time; None when nothing was found."""
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None)) as db:
            db.text_factory = lambda data: data.decode("utf-8", "replace")
            if version_of(db, path) == 0:
                return None
            tables = [str(r[0]) for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            for table in tables:
                if table != "chunk" and (found := _quick_check(db, f"('{table}')")):
                    return found
            if path.stat().st_size <= WHOLE_BYTES:
                end_s = real_s() + WHOLE_S
                db.set_progress_handler(lambda: int(real_s() > end_s), 10_000)
                try:
                    if found := _quick_check(db, "(1)"):
                        return found
                except sqlite3.OperationalError as err:
                    if err.sqlite_errorcode != sqlite3.SQLITE_INTERRUPT:
                        raise
                db.set_progress_handler(None, 0)
            db.text_factory = text_of
            return _newest_rows(db, tables) or _newest(db)
    except (sqlite3.Error, UnicodeDecodeError) as err:
        if is_damage(err):
            return "its tables cannot be read" if isinstance(err, UnicodeDecodeError) else str(err)
        raise


def _undo_what_was_begun(path: Path) -> None:
    """A copy put in the journal's place is in no WAL mode yet. Cut off while it is brought there, it has a rollback
    journal beside it, which only a connection that may write undoes."""
    begun = path.with_name(path.name + "-journal")
    if not begun.exists():
        return
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute("PRAGMA schema_version").fetchone()
    except sqlite3.Error as err:
        if not is_damage(err):
            raise  # damage is found, and told, by who looks at all of it


def _quick_check(db: sqlite3.Connection, what: str) -> str | None:
    found = [str(r[0]) for r in db.execute(f"PRAGMA quick_check{what}")]
    return None if found == ["ok"] else found[0].replace("\n", " ")


def _newest_rows(db: sqlite3.Connection, tables: list[str]) -> str | None:
    """Whether what the other tables hold can be read as what it is; all of it, as far as the time allows."""
    for table, columns in JSON.items():
        if table not in tables:
            continue  # of an older uvdose
        end_s = real_s() + NEWEST_S
        order = ", ".join(f"{r[1]} DESC" for r in db.execute(f"PRAGMA table_info({table})") if r[5])
        for row in db.execute(f"SELECT {', '.join(columns)} FROM {table} ORDER BY {order}"):
            if fault := row_fault(table, columns, row):
                return f"{table}: {fault}"
            if real_s() > end_s and table != "target":
                break
    return None


def _newest(db: sqlite3.Connection) -> str | None:
    """Whether the newest readings are what was written: each chunk carries a sum of its own.

    As many as the time allows, and all that a print that still takes light is counted from.
    """
    begin_us = db.execute("SELECT min(begin_us) FROM exposure WHERE settled = 0").fetchone()[0]
    needed_us = begin_us - PREROLL_US if begin_us is not None else 1 << 62
    end_s = real_s() + NEWEST_S
    for number, t1_us, data in db.execute("SELECT id, t1_us, data FROM chunk ORDER BY id DESC"):
        if fault := row_fault("chunk", ("data",), (data,)):
            return f"readings {number}: {fault}"
        if t1_us < needed_us and real_s() > end_s:
            break
    return None


def _without(path: Path) -> list[str]:
    """No journal, or an empty file. A log without its journal is not ours to throw away, which SQLite would do."""
    wal = path.with_name(path.name + "-wal")
    was_empty = path.exists()
    if wal.exists() and wal.stat().st_size > 0:
        aside = beside(path, "damaged")
        _set_aside(path, aside)
        return [f"journal {path} was {'empty' if was_empty else 'gone'}, and its log was not: set aside as"
                f" {aside.name}-wal; a fresh journal is begun"]  # fmt: skip
    return [f"journal {path} was an empty file: a fresh one is begun in it"] if was_empty else []


def _set_aside(path: Path, aside: Path) -> None:
    for end in ENDS:
        old = path.with_name(path.name + end)
        if old.exists():
            old.rename(aside.with_name(aside.name + end))
    sync(path.parent)


def _finish_earlier(path: Path, fresh: Path) -> None:
    """An earlier rescue was cut off. While the damaged journal has its name it is begun anew, else it is finished."""
    if not fresh.exists():
        return
    if path.exists():
        for end in (*ENDS, "-journal"):
            fresh.with_name(fresh.name + end).unlink(missing_ok=True)
        return
    with closing(sqlite3.connect(fresh)) as db:
        aside = path.with_name(str(db.execute("SELECT value FROM meta WHERE key = 'set_aside'").fetchone()[0]))
    _set_aside(path, aside)
    fresh.replace(path)
    sync(path.parent)
