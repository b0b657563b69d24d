"""Readings packed for the journal: columns of whole numbers, each as differences, compressed.

A chunk holds up to 120 readings of one sensor and one kind. Everything is a 64-bit whole number (a float by its
bits), so that what comes out is what went in, bit for bit.
"""

from __future__ import annotations

import sys
import zlib
from array import array
from collections.abc import Sequence
from itertools import accumulate
from operator import sub
from typing import TYPE_CHECKING

from msgspec.structs import astuple

from ..model import MeanReading, MomentReading, Reading, RegisterReading

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

CHUNK = 120
REGISTER, MOMENT, MEAN = 1, 2, 3
_COLUMNS = {REGISTER: 9, MOMENT: 3, MEAN: 4}
_NO_SEQ = -1
_LEVEL = 1 + RegisterReading.__struct_fields__.index("level_milli")
_SAT_MS = 1 + RegisterReading.__struct_fields__.index("sat_ms")

Row = tuple[int, Reading]


def kind_of(reading: Reading) -> int:
    """Which kind of chunk a reading goes into."""
    if isinstance(reading, RegisterReading):
        return REGISTER
    return MEAN if isinstance(reading, MeanReading) else MOMENT


def pack(rows: list[Row]) -> bytes:
    """Rows (dose time, reading) of one kind as bytes. Source time is not kept: dose time is made of it."""
    columns: list[Sequence[int]] = [[t for t, _ in rows]]
    if isinstance(rows[0][1], RegisterReading):
        columns += zip(*[astuple(r) for _, r in rows], strict=True)
    else:
        moments = [r for _, r in rows if isinstance(r, MomentReading)]
        bits = array("q", array("d", [r.value for r in moments]).tobytes())
        columns += [bits.tolist(), [_NO_SEQ if r.seq is None else r.seq for r in moments]]
        columns += [[r.span_us for r in moments if isinstance(r, MeanReading)]] * (kind_of(moments[0]) == MEAN)
    flat = array("q")
    for column in columns:
        steps = list(map(sub, column, (0, *column)))
        try:
            flat.extend(array("q", steps))
        except OverflowError:
            flat.extend(array("q", map(_wrap, steps)))
    if sys.byteorder == "big":
        flat.byteswap()
    return zlib.compress(flat.tobytes(), 1)


def unpack(kind: int, data: bytes) -> list[Row]:
    """The inverse of `pack`. Raises ValueError for bytes that are no chunk."""
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
    columns = [[_wrap(v) for v in accumulate(flat[i * n : (i + 1) * n])] for i in range(width)]
    if kind == REGISTER:
        return [(t, RegisterReading(*rest)) for t, *rest in zip(*columns, strict=True)]
    values = array("d", array("q", columns[1]).tobytes())
    if kind == MEAN:
        return [
            (t, MeanReading(v, None, None if s == _NO_SEQ else s, span))
            for t, v, s, span in zip(columns[0], values, columns[2], columns[3], strict=True)
        ]
    return [
        (t, MomentReading(v, None, None if s == _NO_SEQ else s))
        for t, v, s in zip(columns[0], values, columns[2], strict=True)
    ]


def unpack_values(kind: int, data: bytes) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Dose times and values (of a register's line its level) alone, as arrays: a month in a second.

    Raises ValueError for bytes that are no chunk.
    """
    import numpy as np

    steps = _steps(kind, data)
    times = np.cumsum(steps[0])
    if kind == REGISTER:
        return times, np.cumsum(steps[_LEVEL]) / 1000.0
    return times, np.cumsum(steps[1]).view(np.float64)  # sums wrap as `_wrap` does


def unpack_sat_ms(data: bytes) -> npt.NDArray[np.int64]:
    """The milliseconds at full scale since power-up of each line of a node. Raises ValueError."""
    import numpy as np

    return np.cumsum(_steps(REGISTER, data)[_SAT_MS])


def unpack_spans(data: bytes) -> npt.NDArray[np.int64]:
    """The microseconds that each mean of a chunk of means is of. Raises ValueError."""
    import numpy as np

    return np.cumsum(_steps(MEAN, data)[-1])


def _steps(kind: int, data: bytes) -> npt.NDArray[np.int64]:
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
    return (value + (1 << 63)) % (1 << 64) - (1 << 63)
