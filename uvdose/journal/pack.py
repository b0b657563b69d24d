"""Readings packed for the journal: columns of whole numbers, each as differences, compressed.

A chunk holds up to 120 readings of one sensor and one kind. Everything is a 64-bit whole number (a float by its
bits), so that what comes out is what went in, bit for bit.
"""

from __future__ import annotations

import sqlite3
import sys
import zlib
from array import array
from itertools import accumulate
from operator import sub
from typing import TYPE_CHECKING, Any

from msgspec.structs import astuple

from ..model import MeanReading, MomentReading, Reading, RegisterReading, RegisterRun

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

CHUNK = 120
REGISTER, MOMENT, MEAN = 1, 2, 3
_COLUMNS = {REGISTER: 9, MOMENT: 3, MEAN: 4}
NO_SEQ = -1
_HALF_64 = 1 << 63
_LEVEL = 1 + RegisterReading.__struct_fields__.index("level_milli")
_SAT_MS = 1 + RegisterReading.__struct_fields__.index("sat_ms")

Row = tuple[int, Reading]


def kind_of(reading: Reading) -> int:
    """Which kind of chunk a reading goes into."""
    if isinstance(reading, RegisterReading):
        return REGISTER
    return MEAN if isinstance(reading, MeanReading) else MOMENT


class Flat(bytes):
    """A chunk that is still to be compressed, which is done when SQLite takes it: so the journal's thread has the work,
    and not who counts.
    """

    __slots__ = ()

    def packed(self) -> bytes:
        """The chunk as it is kept."""
        return zlib.compress(self, 1)


sqlite3.register_adapter(Flat, Flat.packed)


class Columns:
    """Readings of one kind on their way into a chunk, column by column: dose time first, then what they hold."""

    __slots__ = ("_columns", "kind")

    def __init__(self, kind: int) -> None:
        self.kind = kind
        self._columns: list[list[Any]] = [[] for _ in range(_COLUMNS[kind])]

    def __len__(self) -> int:
        return len(self._columns[0])

    @property
    def t_us(self) -> list[int]:
        """Their dose times."""
        return self._columns[0]

    def add(self, t_us: int, reading: Reading) -> None:
        """One more, of the same kind. Its source's time is not kept: dose time is made of it."""
        if isinstance(reading, RegisterReading):
            values = astuple(reading)
        else:
            values = (reading.value, NO_SEQ if reading.seq is None else reading.seq)
            values += (reading.span_us,) if isinstance(reading, MeanReading) else ()
        for column, value in zip(self._columns, (t_us, *values), strict=True):
            column.append(value)

    def add_run(self, t_us: list[int], run: RegisterRun, since: int, until: int) -> None:
        """Lines of a run, from one to before another; t_us: the dose times of all of them."""
        told = (
            t_us, run.boot, run.seq, run.uptime_ms, run.level_milli, run.register, run.sat_ms, run.presses, run.flags
        )
        for column, values in zip(self._columns, told, strict=True):
            column.extend(values[since:until] if isinstance(values, list) else [values] * (until - since))

    def flat(self) -> Flat:
        """The columns as differences."""
        flat = array("q")
        for i, column in enumerate(self._columns):
            if i == 1 and self.kind != REGISTER:
                column = array("q", array("d", column).tobytes()).tolist()
            flat.extend(_differences(column))
        if sys.byteorder == "big":
            flat.byteswap()
        return Flat(flat.tobytes())


def _differences(column: list[int]) -> array[int]:
    first, count = column[0], len(column)
    step = column[1] - first if count > 1 else 0
    even = column[-1] == first + step * (count - 1) and -_HALF_64 <= step < _HALF_64  # as numbers and uptimes are
    if even and column == (list(range(first, first + step * count, step)) if step else [first] * count):
        return array("q", (first,)) + array("q", (step,)) * (count - 1)
    steps = list(map(sub, column, (0, *column)))
    try:
        return array("q", steps)
    except OverflowError:
        return array("q", map(_wrap, steps))


def pack(rows: list[Row]) -> bytes:
    """Rows (dose time, reading) of one kind as bytes."""
    columns = Columns(kind_of(rows[0][1]))
    for row in rows:
        columns.add(*row)
    return columns.flat().packed()


def unpack(kind: int, data: bytes) -> list[Row]:
    """The inverse of `pack`. Raises ValueError for bytes that are no chunk."""
    columns = _columns(kind, data)
    if kind == REGISTER:
        return [(t, RegisterReading(*rest)) for t, *rest in zip(*columns, strict=True)]
    values = array("d", array("q", columns[1]).tobytes())
    if kind == MEAN:
        return [
            (t, MeanReading(v, None, None if s == NO_SEQ else s, span))
            for t, v, s, span in zip(columns[0], values, columns[2], columns[3], strict=True)
        ]
    return [
        (t, MomentReading(v, None, None if s == NO_SEQ else s))
        for t, v, s in zip(columns[0], values, columns[2], strict=True)
    ]


def unpack_run(data: bytes) -> tuple[list[int], RegisterRun] | None:
    """A chunk of a node's lines as dose times and a run; None where they tell of more than time and light.

    Raises ValueError for bytes that are no chunk.
    """
    t_us, boot, seq, uptime_ms, level_milli, register, sat_ms, presses, flags = _columns(REGISTER, data)
    if any(column.count(column[0]) != len(column) for column in (boot, sat_ms, presses, flags)):
        return None
    return t_us, RegisterRun(boot[0], seq, uptime_ms, level_milli, register, sat_ms[0], presses[0], flags[0])


def _columns(kind: int, data: bytes) -> list[list[int]]:
    try:
        flat = array("q", zlib.decompress(data))
    except (zlib.error, ValueError) as err:
        raise ValueError(f"damaged chunk: {err}") from None
    if sys.byteorder == "big":
        flat.byteswap()
    width = _COLUMNS[kind]
    if not flat or len(flat) % width:
        raise ValueError("damaged chunk: its columns do not match")
    n = len(flat) // width
    return [_summed(flat[i * n : (i + 1) * n]) for i in range(width)]


def _summed(steps: array[int]) -> list[int]:
    if not any(steps[1:]):
        return [steps[0]] * len(steps)
    found = list(accumulate(steps))
    return found if min(found) >= -_HALF_64 and max(found) < _HALF_64 else [_wrap(v) for v in found]


def unpack_values(kind: int, data: bytes) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Dose times and values (of a register's line its level) alone, as arrays: a month in a second.

    Raises ValueError for bytes that are no chunk.
    """
    import numpy as np

    steps = steps_of(kind, data)
    times = np.cumsum(steps[0])
    if kind == REGISTER:
        return times, np.cumsum(steps[_LEVEL]) / 1000.0
    return times, np.cumsum(steps[1]).view(np.float64)  # sums wrap as `_wrap` does


def unpack_sat_ms(data: bytes) -> npt.NDArray[np.int64]:
    """The milliseconds at full scale since power-up of each line of a node. Raises ValueError."""
    import numpy as np

    return np.cumsum(steps_of(REGISTER, data)[_SAT_MS])


def unpack_spans(data: bytes) -> npt.NDArray[np.int64]:
    """The microseconds that each mean of a chunk of means is of. Raises ValueError."""
    import numpy as np

    return np.cumsum(steps_of(MEAN, data)[-1])


def steps_of(kind: int, data: bytes) -> npt.NDArray[np.int64]:
    """The columns of a chunk, as differences."""
    import numpy as np

    try:
        flat = np.frombuffer(zlib.decompress(data), "<i8")
    except (zlib.error, ValueError) as err:
        raise ValueError(f"damaged chunk: {err}") from None
    width = _COLUMNS[kind]
    if not len(flat) or len(flat) % width:
        raise ValueError("damaged chunk: its columns do not match")
    return flat.reshape(width, -1)


def _wrap(value: int) -> int:
    """Into the range of a signed 64-bit number, so that differences of any two fit as well."""
    return (value + _HALF_64) % (2 * _HALF_64) - _HALF_64
