"""Light by minutes out of the journal: from the stored sums, and from raw readings for what is not summed yet."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import NamedTuple

from ..dose.minute import MINUTE_US, MinuteSums
from ..dose.response import Identity
from .blocks import Block, Blocks, marks

FAR_US = 3 * 3_600_000_000  # how far back light may reach that belongs to the block after it
Worth = Callable[[list[Block]], list[Block]]
_FIELDS = ", ".join(MinuteSums.__struct_fields__)


class MinuteRow(NamedTuple):
    """One minute (since 1970, UTC) of one row of settings."""

    sensor: int
    minute: int
    sums: MinuteSums


class Found(NamedTuple):
    """Minutes by sensor's row and then time, rising; and what those rows of settings say."""

    rows: list[MinuteRow]
    identities: dict[int, Identity]


def minutes_between(
    db: sqlite3.Connection, wall0_us: int, wall1_us: int, name: str | None = None, worth: Worth = list
) -> Found:
    """The minutes that overlap a stretch of wall time (microseconds), of one sensor or of all.

    worth: of the blocks that are not summed yet those that are worth reading. A damaged one of them has no light.
    """
    first, last = wall0_us // MINUTE_US, -(-wall1_us // MINUTE_US)
    with _one_moment(db):
        blocks = Blocks(db)
        every = [name] if name is not None else blocks.sensors.names()
        numbers = [n for one in every for n in blocks.sensors.numbers(one)]
        found: dict[tuple[int, int], MinuteSums] = {}
        for number in numbers:
            rows = db.execute(
                f"SELECT minute, {_FIELDS} FROM minute WHERE sensor = ? AND minute >= ? AND minute < ?",
                (number, first, last),
            )
            for minute, *sums in rows:
                found[number, minute] = MinuteSums(*sums)
        raw = [b for b in _not_summed(db, blocks, every)
               if b.wall0_us < wall1_us + FAR_US and b.wall1_us >= wall0_us]  # fmt: skip
        for block in worth(raw):
            for minute, more in blocks.sums(block).items():
                if first <= minute < last:
                    key = block.sensor, minute
                    found[key] = found[key] + more if key in found else more
        identities = {n: identity for n in numbers if (identity := blocks.sensors.identity(n)) is not None}
    return Found([MinuteRow(*key, sums) for key, sums in sorted(found.items())], identities)


def _not_summed(db: sqlite3.Connection, blocks: Blocks, names: list[str]) -> Iterator[Block]:
    summed = marks(db)
    for block in blocks.after(min((summed.get(name, 0) for name in names), default=0)):
        identity = blocks.sensors.identity(block.sensor)
        if identity is not None and identity.name in names and block.id > summed.get(identity.name, 0):
            yield block


@contextmanager
def _one_moment(db: sqlite3.Connection) -> Iterator[None]:
    """All that is read in it is of one moment, though a writer goes on beside it."""
    if db.in_transaction:
        yield
        return
    db.execute("BEGIN")
    try:
        yield
    finally:
        if db.in_transaction:
            db.execute("COMMIT")
