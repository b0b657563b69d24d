"""The blocks of readings (chunks) of the journal as sums of minutes: one way for writing, reading and proving them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import NamedTuple

import msgspec

from ..dose.minute import MinuteSums, minute_sums, usual_of
from ..dose.response import Identity
from .pack import REGISTER, Row, unpack


class Block(NamedTuple):
    """One chunk without its data. before: the id of the chunk of the same sensor before it, 0 where there is none."""

    id: int
    sensor: int
    kind: int
    t0_us: int
    t1_us: int
    wall0_us: int
    before: int

    @property
    def wall1_us(self) -> int:
        """The wall label of its last reading."""
        return self.wall0_us + self.t1_us - self.t0_us


class Sensors:
    """The rows of settings by number. New ones may come while it is in use."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._known: dict[int, Identity] = {}

    def identity(self, number: int) -> Identity | None:
        """The settings of a row; None where there is no such row."""
        if number not in self._known:
            rows = self._db.execute("SELECT id, identity FROM sensor").fetchall()
            self._known = {int(i): msgspec.json.decode(text, type=Identity) for i, text in rows}
        return self._known.get(number)

    def numbers(self, name: str) -> list[int]:
        """The rows that a sensor has had."""
        return [int(r[0]) for r in self._db.execute("SELECT id FROM sensor WHERE name = ?", (name,))]

    def names(self) -> list[str]:
        """All sensors."""
        return [str(r[0]) for r in self._db.execute("SELECT DISTINCT name FROM sensor ORDER BY name")]


class _End(NamedTuple):
    block: int
    kind: int
    sensor: int
    row: Row
    usual_us: int


class Blocks:
    """Goes through blocks in the order of their ids, and sums each with the reading before it."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self.sensors = Sensors(db)
        self._ends: dict[str, _End] = {}
        self._before: dict[str, int] = {}

    def after(self, number: int, most: int = 1 << 62, whole_from: int = 1 << 62) -> Iterator[Block]:
        """Blocks above an id, rising; ask in rising order. From whole_from on it ends where an id is missing."""
        rows = self._db.execute(
            "SELECT id, sensor, kind, t0_us, t1_us, wall0_us FROM chunk WHERE id > ? ORDER BY id LIMIT ?",
            (number, most),
        ).fetchall()
        for row in rows:
            if row[0] >= whole_from and row[0] > max(number + 1, whole_from):
                return
            number = row[0]
            identity = self.sensors.identity(row[1])
            name = identity.name if identity is not None else ""
            before = self._before.get(name)
            if before is None:
                before = self._last_before(name, number)
            self._before[name] = number
            yield Block(number, row[1], row[2], row[3], row[4], row[5], before)

    def sums(self, block: Block) -> dict[int, MinuteSums]:
        """The minutes of a block; none of one that cannot be read."""
        row = self._db.execute("SELECT data FROM chunk WHERE id = ?", (block.id,)).fetchone()
        return self.sums_of(block, readable(block.kind, row[0]) if row is not None else None)

    def sums_of(self, block: Block, rows: list[Row] | None) -> dict[int, MinuteSums]:
        """The same, where its readings are at hand."""
        identity = self.sensors.identity(block.sensor)
        if not rows or identity is None:
            self._ends.pop(identity.name if identity is not None else "", None)
            return {}
        end = self._end(identity, block)
        before, usual_us = (end.row, end.usual_us) if end is not None else (None, 0)
        self._ends[identity.name] = _End(block.id, block.kind, block.sensor, rows[-1], usual_of(rows))
        try:
            return minute_sums(rows, block.wall0_us - block.t0_us, before, identity.full_scale, usual_us)
        except ArithmeticError:
            return {}  # readings of no sensor; what is told of light must not end the daemon

    def _end(self, identity: Identity, block: Block) -> _End | None:
        """The end of the block before, where light may be told between the two."""
        end = self._ends.get(identity.name)
        if end is None or end.block != block.before:
            found = self._db.execute("SELECT kind, sensor, data FROM chunk WHERE id = ?", (block.before,)).fetchone()
            rows = readable(found[0], found[2]) if found is not None else None
            if not rows:
                return None
            end = _End(block.before, found[0], found[1], rows[-1], usual_of(rows))
        then = self.sensors.identity(end.sensor)
        same = then is not None and (then.unit, then.format) == (identity.unit, identity.format)
        return end if same and (end.kind == REGISTER) == (block.kind == REGISTER) else None

    def _last_before(self, name: str, number: int) -> int:
        mine = ", ".join(map(str, self.sensors.numbers(name)))
        row = self._db.execute(
            f"SELECT id FROM chunk WHERE id < ? AND +sensor IN ({mine}) ORDER BY id DESC LIMIT 1", (number,)
        ).fetchone()
        return 0 if row is None else int(row[0])


def readable(kind: int, data: bytes) -> list[Row] | None:
    """The readings of a chunk; None where they are damaged."""
    try:
        return unpack(kind, data)
    except (ValueError, KeyError, TypeError):
        return None


def marks(db: sqlite3.Connection) -> dict[str, int]:
    """Up to which chunk each sensor is summed; a sensor that is not in it is not summed at all."""
    return {str(name): int(chunk) for name, chunk in db.execute("SELECT name, chunk FROM summed")}
