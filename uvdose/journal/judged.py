"""Raw readings of a sensor with what they are judged by: the response that its settings stated when they came.

A node's lines are given by the chunk, as runs, where they are of one boot: adding them up together costs little.
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import msgspec

from ..dose.response import Identity, Response, identity_response
from ..model import Reading, RegisterRun
from .pack import REGISTER, unpack, unpack_run

Judged = tuple[Response, int, Reading]


class JudgedRun(NamedTuple):
    """A node's lines with their dose times, and the response of all of them."""

    response: Response
    t_us: list[int]
    run: RegisterRun



def judged(db: sqlite3.Connection, sensor: str, t0_us: int, t1_us: int = 1 << 62) -> Iterator[Judged | JudgedRun]:
    """Readings from t0 to t1 (dose time), in order; the same response while it is the same.

    Raises ValueError for a damaged chunk.
    """
    rows = db.execute(
        "SELECT s.id, s.identity, c.kind, c.data FROM chunk c JOIN sensor s ON s.id = c.sensor"
        " WHERE s.name = ? AND c.t1_us >= ? AND c.t0_us <= ? ORDER BY c.id", (sensor, t0_us, t1_us)
    )
    known: dict[int, Response] = {}
    for number, identity, kind, data in rows:
        if number not in known:
            known[number] = identity_response(msgspec.json.decode(identity, type=Identity))
        found = unpack_run(data) if kind == REGISTER else None
        if found is not None:
            yield from _within(known[number], *found, t0_us, t1_us)
            continue
        for t_us, reading in unpack(kind, data):
            if t0_us <= t_us <= t1_us:
                yield known[number], t_us, reading


def _within(response: Response, t_us: list[int], run: RegisterRun, t0_us: int, t1_us: int) -> Iterator[JudgedRun]:
    begin, end = bisect_left(t_us, t0_us), bisect_right(t_us, t1_us)
    if begin < end:
        yield JudgedRun(response, t_us[begin:end], run.part(begin, end))


def until(rows: Iterable[Judged | JudgedRun], end_us: int) -> Iterator[Judged | JudgedRun]:
    """Rows up to the first reading after the end: that one closes the last segment of light."""
    for row in rows:
        if isinstance(row, JudgedRun):
            last = bisect_right(row.t_us, end_us) + 1
            yield JudgedRun(row.response, row.t_us[:last], row.run.part(0, last))
            if last <= len(row.t_us):
                return
        else:
            yield row
            if row[1] > end_us:
                return


def one_by_one(rows: Iterable[Judged | JudgedRun]) -> Iterator[Judged]:
    """The same without runs."""
    for row in rows:
        if isinstance(row, JudgedRun):
            yield from ((row.response, t_us, line) for t_us, line in zip(row.t_us, row.run.readings(), strict=True))
        else:
            yield row
