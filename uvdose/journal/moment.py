"""A stretch of work on the journal that is of one moment: read as one, or written whole or not at all."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress


@contextmanager
def one_moment(db: sqlite3.Connection) -> Iterator[None]:
    """All that is read in it is of one moment, though a writer goes on beside it, on a connection of its own."""
    if db.in_transaction:
        yield
        return
    db.execute("BEGIN")
    try:
        yield
    finally:
        with suppress(sqlite3.DatabaseError):  # nothing was written; a damaged journal complains here once more
            if db.in_transaction:
                db.execute("ROLLBACK")


@contextmanager
def whole_or_not(db: sqlite3.Connection) -> Iterator[None]:
    """All that is written in it is committed at its end, or nothing where anything is raised in it."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
