"""Batches that wait for the disk, merged so that a disk that fails for days does not fill the memory.

Batches that wait together are committed together, in order: a group of them is one transaction. Within a group a row
that is written whole again and again (the growing chunk of a sensor, the figures of an exposure) is kept once. Acts,
events, calls and targets are kept each. Only packed readings can grow without end, about 2 MB a day for a sensor at
1 Hz; beyond `WAITING_BYTES` of them the oldest are given up, and counted.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future

from .pack import Flat

Statement = tuple[str, tuple[object, ...]]

WAITING_BYTES = 16 << 20
GROUP_STATEMENTS = 500
GROUP_BYTES = 1 << 20

# Statements whose first value is the row's id, and that give the whole row. The first form replaces the row; the second
# keeps some columns of the first time, so that the first and the last are needed.
_REPLACES = "INSERT OR REPLACE INTO"
_UPDATES = "ON CONFLICT (id) DO UPDATE"
_READINGS = f"{_REPLACES} chunk "
_READINGS_COUNT = 6  # which value of such a row says how many readings it holds


def _packed(statement: Statement) -> Statement:
    """With its readings compressed: for what may wait long, else the writer does it."""
    sql, values = statement
    return (sql, tuple(v.packed() if isinstance(v, Flat) else v for v in values)) if _READINGS in sql else statement


class Group:
    """Statements of one transaction, and the future of all that handed them over."""

    __slots__ = ("_number", "bytes", "done", "rows", "sealed")

    def __init__(self) -> None:
        self.rows: dict[object, Statement] = {}
        self.done: Future[None] = Future()
        self.bytes = 0
        self.sealed = False
        self._number = 0

    @property
    def full(self) -> bool:
        """Whether it takes no more: a transaction is kept small, so that a nearly full disk can take some of it."""
        return self.sealed or len(self.rows) >= GROUP_STATEMENTS or self.bytes >= GROUP_BYTES

    def add(self, statement: Statement) -> None:
        """One more statement; it takes the place of one that it makes needless."""
        sql, values = statement
        key: object
        if sql.startswith(_REPLACES):
            key = (sql, values[0])
        elif _UPDATES in sql and (sql, values[0]) in self.rows:
            key = (sql, values[0], "again")
        elif _UPDATES in sql:
            key = (sql, values[0])
        else:
            self._number += 1
            key = self._number
        old = self.rows.pop(key, None)
        self.rows[key] = statement
        self.bytes += _weight(statement) - (_weight(old) if old is not None else 0)

    def give_up_readings(self) -> int:
        """Let go of the packed readings in it; how many readings that were."""
        gone = 0
        for key, (sql, values) in list(self.rows.items()):
            if sql.startswith(_READINGS):
                count = values[_READINGS_COUNT]
                gone += count if isinstance(count, int) else 0
                self.bytes -= _weight(self.rows.pop(key))
        return gone


class Backlog:
    """Groups in the order of their commits. Not safe for threads by itself: its owner locks."""

    def __init__(self, waiting_bytes: int = WAITING_BYTES) -> None:
        self.groups: deque[Group] = deque()
        self.given_up = 0
        self._bound = waiting_bytes

    def add(self, batch: list[Statement]) -> Future[None]:
        """Take a batch in, whole, behind all others; its future."""
        if not self.groups or self.groups[-1].full:
            self.groups.append(Group())
        group, waits = self.groups[-1], len(self.groups) > 1
        for statement in batch:
            group.add(_packed(statement) if waits else statement)
        self._bound_it()
        return group.done

    def bytes(self) -> int:
        """How much of blobs and text waits."""
        return sum(g.bytes for g in self.groups)

    def _bound_it(self) -> None:
        if len(self.groups) * GROUP_BYTES < self._bound // 2 and len(self.groups) < GROUP_STATEMENTS:
            return  # too few to be over it; saves adding them up each time
        over = self.bytes() - self._bound
        for group in self.groups:
            if over <= 0:
                return
            if not group.sealed:
                before = group.bytes
                self.given_up += group.give_up_readings()
                over -= before - group.bytes


def _weight(statement: Statement) -> int:
    return sum(len(v) for v in statement[1] if isinstance(v, bytes | str))
