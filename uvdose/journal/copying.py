"""A whole, proven copy of a journal in one file, made while another process may write the journal."""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path

from ..clock import host_wall_us
from ..model import Refusal
from ..stamps import iso_utc

_PART = re.compile(r"\.(.+)\.([0-9]{1,10})\.part(?:-journal|-wal|-shm)?")
_STILL_US = 60_000_000  # a folder may be shared with a machine whose processes are not seen here


def beside(path: Path, why: str) -> Path:
    """A name beside a journal that is not taken: journal.WHY-20260621-101500.sqlite3 (UTC). Raises `Refusal`."""
    stamp = iso_utc(host_wall_us())[:19].replace("-", "").replace(":", "").replace("T", "-")
    for number in range(1, 1000):
        again = "" if number == 1 else f"-{number}"
        name = path.with_name(f"{path.stem}.{why}-{stamp}{again}{path.suffix}")
        if not any(name.with_name(name.name + end).exists() for end in ("", "-wal", "-shm")):
            return name
    raise Refusal(f"too many files of the same second beside {path}: try again")


def copy_to(source: sqlite3.Connection, path: Path, replace: bool) -> int:
    """Copy a journal as it stands at one moment into a file of its own; returns its bytes.

    It is written under another name, checked, synced, and only then given its name. Raises `Refusal`, and leaves no
    half copy; an existing file is kept unless `replace`.
    """
    part = part_beside(path, replace)
    try:
        part.touch(exist_ok=True)
        with closing(sqlite3.connect(part, isolation_level=None)) as target:
            source.backup(target)
            target.execute("PRAGMA journal_mode=DELETE")  # one file, without a log beside it
            found = [str(r[0]) for r in target.execute("PRAGMA quick_check(3)")]
        if found != ["ok"]:
            raise Refusal(f"the journal is damaged ({found[0]}): no copy was made; `uvdose journal check` says more")
        sync(part)
        size = part.stat().st_size
        give_name(part, path, replace)
        sync(path.parent)
    except sqlite3.Error as err:
        if is_damage(err):
            raise Refusal(f"the journal is damaged ({err}): no copy was made; see `uvdose journal check`") from None
        raise Refusal(f"{path} cannot be written: {err}") from None
    except OSError as err:
        raise Refusal(f"{path} cannot be written: {err.strerror}") from None
    finally:
        for end in ("", "-journal", "-wal", "-shm"):
            with contextlib.suppress(OSError):
                part.with_name(part.name + end).unlink(missing_ok=True)
    return size


def is_damage(err: BaseException) -> bool:
    """Whether an error says that the file itself is damaged, or is none of SQLite's."""
    code = getattr(err, "sqlite_errorcode", None)
    if isinstance(err, UnicodeDecodeError):
        return True  # SQLite's own complaint, with the file's garbage in it
    return code is not None and code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def sync(path: Path) -> None:
    """See a file or a folder onto the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def part_beside(path: Path, replace: bool) -> Path:
    """The name under which a file is written until it is whole. Raises `Refusal` for a folder, and for a file that is
    there already unless `replace`."""
    if path.is_dir():
        raise Refusal(f"{path} is a folder: give the name of a file")
    if path.exists() and not path.is_file():
        raise Refusal(f"{path} is no ordinary file, and is not replaced: give the name of a file")
    if path.exists() and not replace:
        raise _taken(path)
    _sweep(path)
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def _sweep(path: Path) -> None:
    """Take away what was half written into that folder by processes that were killed: files of the same kind alone,
    which nobody has touched for a minute."""
    before_us = host_wall_us() - _STILL_US
    with contextlib.suppress(OSError):
        for name in os.listdir(path.parent):
            found = _PART.fullmatch(name)
            if found is None or not found[1].endswith(path.suffix) or _lives(int(found[2])):
                continue
            left = path.with_name(name)
            if not left.is_symlink() and left.is_file() and left.stat().st_mtime_ns // 1000 < before_us:
                left.unlink(missing_ok=True)


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def _taken(path: Path) -> Refusal:
    return Refusal(f"{path} is there already: choose another name, or say --force")


def give_name(part: Path, path: Path, replace: bool) -> None:
    """Give a file its name, without `replace` never over another that came in between. Raises `Refusal`, `OSError`."""
    if replace:
        part.replace(path)
        return
    try:
        os.link(part, path)
    except FileExistsError:
        raise _taken(path) from None
    except OSError:  # a file system without links
        part.rename(path)
