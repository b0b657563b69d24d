"""Means of minutes out of raw readings: those that a plain sum gives."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import msgspec
import numpy as np
import pytest
from journal.journals import SENSOR, WALL_US, fill

from uvdose.dose.response import identity_response
from uvdose.journal.pack import MOMENT, REGISTER, pack, unpack, unpack_values
from uvdose.journal.store import Store
from uvdose.light.arrays import FloatArray
from uvdose.model import MomentReading, Reading, RegisterReading
from uvdose.review.by_minute import by_minute


def always(at_s: FloatArray) -> FloatArray:
    return np.ones(len(at_s), dtype=bool)


def plain(store: Store) -> dict[float, float]:
    """The same, one reading after the other."""
    response = identity_response(SENSOR)
    found: dict[float, list[float]] = defaultdict(list)
    for t_us, reading in store.readings("sill", 0):
        assert isinstance(reading, RegisterReading)
        value = reading.level_milli / 1000
        assert value < 1023
        found[(WALL_US + t_us) // 60_000_000 * 60 + 30].append(response.factor * (value - response.zero))
    return {minute: sum(values) / len(values) for minute, values in found.items()}


def test_the_means_are_those_of_the_readings(tmp_path: Path) -> None:
    store = Store(fill(tmp_path / "journal.sqlite3", chunks=20))
    told = by_minute(store, SENSOR, 0, always)
    expected = plain(store)
    assert dict(zip(told.utc_s, told.light, strict=True)) == pytest.approx(expected)
    assert len(expected) == 40 and list(told.utc_s) == sorted(told.utc_s)


def test_it_begins_where_it_is_told_to(tmp_path: Path) -> None:
    store = Store(fill(tmp_path / "journal.sqlite3", chunks=6))
    late = by_minute(store, SENSOR, WALL_US + 300_000_000, always)
    assert list(late.utc_s) == [WALL_US / 1e6 + 60 * minute + 30 for minute in range(5, 12)]
    assert len(by_minute(store, SENSOR, WALL_US * 2, always).utc_s) == 0


def _write(db, number: int, rows: list[tuple[int, Reading]]) -> None:
    values = (number, 1, 1, rows[0][0], rows[-1][0], WALL_US + rows[0][0], len(rows), pack(rows))
    db.execute("INSERT OR REPLACE INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)


def test_full_scale_damage_other_settings_and_the_night_are_left_out(tmp_path: Path) -> None:
    db = fill(tmp_path / "journal.sqlite3", chunks=6)
    store = Store(db)
    whole = by_minute(store, SENSOR, 0, always)
    rows: list[tuple[int, Reading]] = [
        (240_000_000 + i * 1_000_000, RegisterReading(7, i, i * 1000, 2_000_000 if i == 70 else 5000, i, 0, 0, 0))
        for i in range(120)
    ]
    _write(db, 3, rows)
    bright = by_minute(store, SENSOR, 0, always)
    assert len(bright.utc_s) == len(whole.utc_s) - 1, "the minute at full scale"
    db.execute("UPDATE chunk SET data = x'00' WHERE id = 5")
    assert len(by_minute(store, SENSOR, 0, always).utc_s) < len(bright.utc_s)
    other = msgspec.structs.replace(SENSOR, scale=0.02)
    assert len(by_minute(store, other, 0, always).utc_s) == 0
    moved = msgspec.structs.replace(SENSOR, zero=0.001)
    assert len(by_minute(store, moved, 0, always).utc_s) > 0, "a zero that hardly moved is the same sensor"
    night = by_minute(store, SENSOR, 0, lambda at_s: np.zeros(len(at_s), dtype=bool))
    assert len(night.utc_s) == 0


@pytest.mark.parametrize("kind", [REGISTER, MOMENT])
def test_unpacked_values_are_those_of_the_readings(kind: int) -> None:
    """Bit for bit, with numbers that wrap and values that jump."""
    values = [0.0, -1.5, 1e300, -0.0, 5e-324, float(2**53), 0.1]
    moments = [MomentReading(v) for v in values]
    lines = [RegisterReading(1, 2**32 - 1, 0, t * 10**15, 2**63 - 1, 0, 0, 0) for t in range(len(values))]
    chosen: list[Reading] = [*moments] if kind == MOMENT else [*lines]
    rows = [(t * 7 - 3, reading) for t, reading in enumerate(chosen)]
    data = pack(rows)
    times, told = unpack_values(kind, data)
    back = unpack(kind, data)
    assert list(times) == [t for t, _ in back]
    expected = [r.value if isinstance(r, MomentReading) else r.level_milli / 1000 for _, r in back]
    assert np.array(expected).tobytes() == told.tobytes()
    for wrong in (b"", b"\0", data[:-4], pack(rows[:1])[:5]):
        with pytest.raises(ValueError, match="damaged"):
            unpack_values(kind, wrong)
