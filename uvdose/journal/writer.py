"""The one writer of the journal: a thread that commits batches in the order they were handed over.

A batch that cannot be committed (disk full, disk slow) is kept and tried again, in order, until it is: nothing
that was decided is dropped. Whoever hands a batch over may wait for it, with patience of its own.
"""

from __future__ import annotations

import queue
import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future

Statement = tuple[str, tuple[object, ...]]

RETRY_S = 1.0


class Writer:
    """Commits batches of statements. `trouble(line)` is told once when writing fails, with "" when it works again."""

    def __init__(self, db: sqlite3.Connection, trouble: Callable[[str], None]) -> None:
        self._db = db
        self._trouble = trouble
        self._queue: queue.Queue[tuple[list[Statement], Future[None]] | None] = queue.Queue()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def commit(self, batch: list[Statement]) -> Future[None]:
        """Hand over a batch; the future is done when it is on disk."""
        done: Future[None] = Future()
        self._queue.put((batch, done))
        return done

    def alive(self) -> bool:
        """Whether the thread runs; a dead one is a fault that must end the daemon loudly."""
        return self._thread.is_alive()

    def close(self, patience_s: float = 5.0) -> bool:
        """Commit what is waiting and end; False when something could not be committed in time."""
        self._stopping.set()
        self._queue.put(None)
        self._thread.join(patience_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        failing = False
        while (item := self._queue.get()) is not None:
            batch, done = item
            while True:
                try:
                    self._write(batch)
                except sqlite3.Error as err:
                    if not failing:
                        failing = True
                        self._trouble(str(err))
                    if self._stopping.wait(RETRY_S):
                        done.set_exception(err)  # ending: what cannot be written now is lost, and that is said
                        break
                    continue
                if failing:
                    failing = False
                    self._trouble("")
                done.set_result(None)
                break

    def _write(self, batch: list[Statement]) -> None:
        db = self._db
        try:
            db.execute("BEGIN IMMEDIATE")
            for sql, values in batch:
                db.execute(sql, values)
            db.execute("COMMIT")
        except sqlite3.Error:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise
