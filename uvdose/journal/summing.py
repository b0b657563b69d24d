"""Blocks of readings put into the minutes, by the journal's one writer: a few at a time, each in one transaction with
the mark that says so. So whatever is killed when, the minutes hold the blocks up to the mark, and no other.

A block is summed when it is final: a later one of its sensor has been begun, or it is of an earlier run. Blocks of one
sensor are summed in the order of their ids, which makes the sums the same to the last bit, whenever they are made.
"""

from __future__ import annotations

import sqlite3
from collections import deque

from ..dose.minute import MinuteSums
from .blocks import Block, Blocks, marks
from .moment import whole_or_not

FIELDS = MinuteSums.__struct_fields__
_LOOK = 64  # ids looked at in one turn
_MOST = ("strongest", "last_us")
_LEAST = ("first_us",)


def _joined(field: str) -> str:
    if field in _MOST + _LEAST:
        choose = "max" if field in _MOST else "min"
        new, old = f"excluded.{field}", field
        return f"{field} = {choose}(coalesce({old}, {new}), coalesce({new}, {old}))"
    return f"{field} = {field} + excluded.{field}"


_ADD = (
    f"INSERT INTO minute (sensor, minute, {', '.join(FIELDS)}) VALUES ({', '.join('?' * (len(FIELDS) + 2))})"
    f" ON CONFLICT (sensor, minute) DO UPDATE SET {', '.join(map(_joined, FIELDS))}"
)
_MARK = "INSERT OR REPLACE INTO summed VALUES (?, ?)"


class Summer:
    """Sums on the writer's connection. Make it when the journal is opened, before anything is recorded."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._first_new = max(
            int(db.execute(f"SELECT coalesce(max({what}), 0) FROM {table}").fetchone()[0])
            for what, table in (("id", "chunk"), ("chunk", "summed"))
        ) + 1
        self.forget()

    def forget(self) -> None:
        """A transaction was rolled back: go by what is on disk."""
        self._blocks = Blocks(self._db)
        self._marks = marks(self._db)
        self._seen = min((self._marks.get(name, 0) for name in self._blocks.sensors.names()), default=0)
        self._caught_up = False
        self._open: dict[str, Block] = {}
        self._final: deque[tuple[str, Block]] = deque()

    def turn(self, most: int) -> bool:
        """Sum up to so many blocks, inside a transaction of the caller's; whether more are there to be summed.

        Raises sqlite3.Error; the caller rolls back, and calls `forget`.
        """
        more = len(self._final) >= most or self._look()
        for _ in range(min(most, len(self._final))):
            name, block = self._final.popleft()
            self._add(block)
            self._mark(name, block.id)
        if not more and not self._final and not self._caught_up:
            self._caught_up = True
            for name in self._blocks.sensors.names():
                if self._marks.get(name, 0) < self._first_new - 1:
                    self._mark(name, self._first_new - 1)
        return more or bool(self._final)

    def _look(self) -> bool:
        """Find what has become final; whether there may be more.

        Numbers are handed out one by one: where one of this run is missing it is still to come, or was given up with
        a disk that failed; then what follows waits for the next start.
        """
        before = self._seen
        for block in self._blocks.after(self._seen, _LOOK, self._first_new):
            self._seen = block.id
            identity = self._blocks.sensors.identity(block.sensor)
            if identity is None or block.id <= self._marks.get(identity.name, 0):
                continue
            name = identity.name
            if block.id < self._first_new:
                self._final.append((name, block))
                continue
            if name not in self._marks:
                self._mark(name, block.id - 1)
            if name in self._open:
                self._final.append((name, self._open[name]))
            self._open[name] = block
        return self._seen > before

    def _add(self, block: Block) -> None:
        _put(self._db, block.sensor, self._blocks.sums(block))

    def _mark(self, name: str, number: int) -> None:
        self._marks[name] = number
        self._db.execute(_MARK, (name, number))


def _put(db: sqlite3.Connection, sensor: int, sums: dict[int, MinuteSums]) -> None:
    db.executemany(_ADD, [(sensor, minute, *[getattr(m, f) for f in FIELDS]) for minute, m in sums.items()])


def sum_whole(db: sqlite3.Connection, name: str) -> None:
    """Sum all that a sensor has, whose blocks are final, inside a transaction of the caller's. Raises sqlite3.Error."""
    blocks = Blocks(db)
    summed = last = marks(db).get(name, 0)
    for block in blocks.after(summed):
        identity = blocks.sensors.identity(block.sensor)
        if identity is not None and identity.name == name:
            _put(db, block.sensor, blocks.sums(block))
            last = block.id
    db.execute(_MARK, (name, last))


def catch_up(db: sqlite3.Connection) -> None:
    """Sum all that is there, where nobody else writes. Raises sqlite3.Error; what was summed stays."""
    summer, more = Summer(db), True
    while more:
        with whole_or_not(db):
            more = summer.turn(_LOOK)
