"""Light by minutes out of the journal: from the stored sums, and from raw readings for what is not summed yet."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from functools import reduce
from operator import add
from typing import NamedTuple

from msgspec.structs import astuple

from ..dose.minute import MINUTE_US, MinuteSums
from ..dose.response import Identity
from .blocks import Block, Blocks, marks
from .moment import one_moment

FAR_US = 3 * 3_600_000_000  # how far back light may reach that belongs to the block after it
Worth = Callable[[list[Block]], list[Block]]


COLUMNS = ("sensor", "minute", *MinuteSums.__struct_fields__)
MinuteRow = tuple[float | None, ...]
"""One minute (since 1970, UTC) of one row of settings, in the order of COLUMNS: a plain tuple, for a year has many."""


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
    with one_moment(db):
        blocks = Blocks(db)
        every = [name] if name is not None else blocks.sensors.names()
        numbers = sorted(n for one in every for n in blocks.sensors.numbers(one))
        rows: list[MinuteRow] = []
        for number in numbers:
            rows += db.execute(
                f"SELECT {', '.join(COLUMNS)} FROM minute WHERE sensor = ? AND minute >= ? AND minute < ?"
                " ORDER BY minute", (number, first, last),
            ).fetchall()
        raw = [b for b in _not_summed(db, blocks, every)
               if b.wall0_us < wall1_us + FAR_US and b.wall1_us >= wall0_us]  # fmt: skip
        added: dict[tuple[int, int], list[MinuteSums]] = {}
        for block in worth(raw):
            for minute, sums in blocks.sums(block).items():
                if first <= minute < last:
                    added.setdefault((block.sensor, minute), []).append(sums)
        identities = {n: identity for n in numbers if (identity := blocks.sensors.identity(n)) is not None}
    return Found(_with(rows, added) if added else rows, identities)


def _with(rows: list[MinuteRow], added: dict[tuple[int, int], list[MinuteSums]]) -> list[MinuteRow]:
    found = {row[:2]: row for row in rows}
    for key, more in added.items():
        kept = [MinuteSums(*found[key][2:])] if key in found else []  # type: ignore[arg-type]
        whole = reduce(add, [*kept, *more])
        found[key] = (*key, *astuple(whole))
    return [found[key] for key in sorted(found)]


def _not_summed(db: sqlite3.Connection, blocks: Blocks, names: list[str]) -> Iterator[Block]:
    summed = marks(db)
    for block in blocks.after(min((summed.get(name, 0) for name in names), default=0)):
        identity = blocks.sensors.identity(block.sensor)
        if identity is not None and identity.name in names and block.id > summed.get(identity.name, 0):
            yield block
