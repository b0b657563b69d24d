"""Raw readings out of the journal by the ten thousand, as arrays."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from itertools import groupby, islice

import msgspec
import numpy as np
import numpy.typing as npt

from ..dose.response import Identity, Response, identity_response
from ..model import MomentReading, Reading, RegisterReading
from .judged import Judged
from .pack import MEAN, NO_SEQ, REGISTER, steps_of, unpack

CHUNKS = 128  # so many at once: some 15,000 readings, whose columns the processor's cache holds
Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


class Block(msgspec.Struct):
    """Readings of one sensor and one kind, in order. columns: of a node's lines all but the dose time; else the bits of
    the value and the running number.
    """

    response: Response
    kind: int
    t_us: Ints
    values: Floats
    columns: Ints

    def part(self, begin: int, end: int) -> Block:
        """Its readings from one on, to before another."""
        cut = slice(begin, end)
        return Block(self.response, self.kind, self.t_us[cut], self.values[cut], self.columns[:, cut])

    def where(self, chosen: Bools) -> Block:
        """Some of its readings."""
        if chosen.all():
            return self
        return Block(self.response, self.kind, self.t_us[chosen], self.values[chosen], self.columns[:, chosen])

    def reading(self, at: int) -> Reading:
        """One of them."""
        if self.kind == REGISTER:
            return RegisterReading(*map(int, self.columns[:, at]))
        seq = int(self.columns[1, at])
        return MomentReading(float(self.values[at]), None, None if seq == NO_SEQ else seq)


def blocks(db: sqlite3.Connection, sensor: str, t0_us: int, end_us: int | None) -> Iterator[Block | list[Judged]]:
    """Readings of a sensor from t0 to the first one after the end (dose time; None: to the last), in order; means as a
    list. Raises ValueError where they are damaged.
    """
    named = "FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ?1"
    last_us = db.execute(  # begin of the chunk that holds the first reading after the end
        f"SELECT coalesce(max(CASE WHEN c.t0_us <= ?2 THEN c.t0_us END), min(c.t0_us)) {named} AND c.t1_us > ?2",
        (sensor, end_us),
    ).fetchone()[0] if end_us is not None else None
    rows = db.execute(
        f"SELECT s.id, s.identity, c.kind, c.n, c.data {named} AND c.t1_us >= ?2 AND c.t0_us <= ?3 ORDER BY c.id",
        (sensor, t0_us, 1 << 62 if last_us is None else last_us),
    )
    known: dict[int, Response] = {}
    for (number, identity, kind, _), chunks in groupby(rows, key=lambda row: row[:4]):
        if number not in known:
            known[number] = identity_response(msgspec.json.decode(identity, type=Identity))
        while some := [row[4] for row in islice(chunks, CHUNKS)]:
            if kind == MEAN:
                rows_of = (row for data in some for row in unpack(kind, data))
                yield from _until([(known[number], t_us, mean) for t_us, mean in rows_of if t_us >= t0_us], end_us)
            else:
                block = _block(known[number], kind, some)
                yield from _until(block.where(block.t_us >= t0_us), end_us)


def _until(item: Block | list[Judged], end_us: int | None) -> Iterator[Block | list[Judged]]:
    """Readings up to the first one after the end, which closes the last segment of light. What comes after it lies in
    the same chunk.
    """
    times = np.array([row[1] for row in item], np.int64) if isinstance(item, list) else item.t_us
    after = np.flatnonzero(times > end_us) if end_us is not None else times[:0]
    many = int(after[0]) + 1 if len(after) else len(times)
    if many:
        yield item[:many] if isinstance(item, list) else item.part(0, many)


def _block(response: Response, kind: int, chunks: list[bytes]) -> Block:
    found = [steps_of(kind, data) for data in chunks]
    if any(steps.shape != found[0].shape for steps in found):
        raise ValueError("damaged chunk: it does not hold as many readings as it says")
    table = np.stack(found).cumsum(axis=2)  # sums wrap as the differences do
    columns = table.transpose(1, 0, 2).reshape(table.shape[1], -1)
    level = RegisterReading.__struct_fields__.index("level_milli")
    rest = columns[1:]
    values = rest[level] / 1000.0 if kind == REGISTER else rest[0].view(np.float64)
    return Block(response, kind, columns[0], values, rest)
