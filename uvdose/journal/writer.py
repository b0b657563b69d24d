"""The one writer of the journal: a thread that commits batches in the order they were handed over.

A batch that cannot be committed (disk full, disk slow) is kept and tried again, in order, until it is: nothing
that was decided is dropped. Whoever hands a batch over may wait for it, with patience of its own. What waits is merged
and bounded, see `backlog`. What it commits is summed by minutes, too: a little with each batch, the rest while nothing
waits.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future, InvalidStateError
from contextlib import suppress

from .backlog import Backlog, Group, Statement
from .copying import is_damage
from .place import Place
from .summing import Summer

__all__ = ["RETRY_S", "Statement", "Writer"]

RETRY_S = 1.0
SUMMED_AT_ONCE = 2  # blocks with a batch: some half a millisecond each
SUMMED_IDLE, IDLE_S = 8, 0.03  # in a turn between batches, and the rest after it: an old journal is not in a hurry


class Writer:
    """Commits batches of statements. `trouble(line)` is told once when writing fails, with "" when it works again.

    It is told once more when the disk has failed for so long that the oldest readings that wait are given up.
    summer: puts the readings into the minutes; None leaves them to the next who has one.
    """

    def __init__(self, db: sqlite3.Connection, trouble: Callable[[str], None], backlog: Backlog | None = None,
                 place: Place | None = None, summer: Summer | None = None) -> None:  # fmt: skip
        self._db = db
        self._place = place
        self._summer = summer
        self._behind = summer is not None
        self._trouble = trouble
        self._backlog = backlog or Backlog()
        self._ready = threading.Condition()
        self._stopping = threading.Event()
        self._lost = False
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def commit(self, batch: list[Statement]) -> Future[None]:
        """Hand over a batch; the future is done when it is on disk. Batches that wait together share one."""
        with self._ready:
            done = self._backlog.add(batch)
            self._ready.notify()
        return done

    @property
    def given_up(self) -> int:
        """Readings that were let go since the start, because the disk failed for too long."""
        return self._backlog.given_up

    def alive(self) -> bool:
        """Whether the thread runs; a dead one is a fault that must end the daemon loudly."""
        return self._thread.is_alive()

    def close(self, patience_s: float = 5.0) -> bool:
        """Commit what is waiting and end; False when something could not be committed in time."""
        self._stopping.set()
        with self._ready:
            self._ready.notify()
        self._thread.join(patience_s)
        return not self._thread.is_alive() and not self._lost

    def _next(self) -> Group | None:
        """The oldest group, sealed; None at the end."""
        while True:
            with self._ready:
                if not self._backlog.groups and not self._stopping.is_set():
                    self._ready.wait(IDLE_S if self._behind else None)
                if self._backlog.groups:
                    group = self._backlog.groups[0]
                    group.sealed = True
                    return group
                if self._stopping.is_set():
                    return None
                behind = self._behind
            if behind:
                self._catch_up()

    def _catch_up(self) -> None:
        """A turn of summing while nothing waits. Where the disk fails it is left to the next batch, which tells so."""
        try:
            self._write([], SUMMED_IDLE)
        except sqlite3.OperationalError:
            self._behind = False

    def _run(self) -> None:
        failing, told_given_up = False, 0
        while (group := self._next()) is not None:
            try:
                self._write(list(group.rows.values()))
            except sqlite3.OperationalError as err:
                given_up = self.given_up
                if not failing:
                    self._trouble(str(err))
                elif given_up and not told_given_up:
                    self._trouble(f"{err}; for so long that the oldest readings that wait are given up")
                failing, told_given_up = True, given_up
                if self._stopping.is_set():
                    self._lost = True  # ending: what cannot be written now is lost, and that is said
                    self._settle(group, err)
                else:
                    with self._ready:
                        group.sealed = False  # what comes until it is tried again joins it
                    self._stopping.wait(RETRY_S)
                continue
            except sqlite3.Error as err:
                # Not the disk but the batch is wrong, and would be for ever: the daemon must end, loudly.
                self._lost = True
                self._settle(group, err)
                raise
            if failing:
                failing, told_given_up = False, 0
                self._trouble("")
            self._settle(group, None)

    def _settle(self, group: Group, err: sqlite3.Error | None) -> None:
        with self._ready:
            self._backlog.groups.popleft()
        with suppress(InvalidStateError):  # whoever waited for it may have gone
            if err is None:
                group.done.set_result(None)
            else:
                group.done.set_exception(err)

    def _write(self, batch: list[Statement], summed: int = SUMMED_AT_ONCE) -> None:
        if self._place is not None:
            self._place.refuse()
        try:
            self._transact(batch, summed)
        except sqlite3.DatabaseError as err:
            if self._summer is None or not is_damage(err):
                raise
            self._summer = None  # old readings that cannot be read: summing them must not hold up what is new
            self._transact(batch, 0)

    def _transact(self, batch: list[Statement], summed: int) -> None:
        db = self._db
        try:
            db.execute("BEGIN IMMEDIATE")
            for sql, values in batch:
                db.execute(sql, values)
            behind = self._summer is not None and self._summer.turn(summed)
            db.execute("COMMIT")
        except sqlite3.Error:
            if db.in_transaction:
                db.execute("ROLLBACK")
            if self._summer is not None:
                self._summer.forget()
            raise
        self._behind = behind
