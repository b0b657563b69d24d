"""Means of minutes out of raw readings: those that a plain sum gives, at any time that it is asked, and quickly."""

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
from uvdose.review.by_minute import ByMinute


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
    told = ByMinute(SENSOR).read(store, 0, always)
    expected = plain(store)
    assert dict(zip(told.utc_s, told.light, strict=True)) == pytest.approx(expected)
    assert len(expected) == 40 and list(told.utc_s) == sorted(told.utc_s)


def test_what_comes_later_is_added_and_what_is_old_goes(tmp_path: Path) -> None:
    """Asked after each chunk, and while the newest grows, it tells what one that is asked once does."""
    db = fill(tmp_path / "journal.sqlite3", chunks=0)
    store, reader = Store(db), ByMinute(SENSOR)
    assert len(reader.read(store, 0, always).utc_s) == 0
    rows: list[tuple[int, Reading]] = []
    for n in range(700):
        rows.append((n * 1_000_000, RegisterReading(7, n, n * 1000, n * 991, n, 0, 0, 0)))
        if n % 50 == 49:
            for number in range(1, n // 120 + 2):  # the full ones as they were, the newest as far as it has grown
                _write(db, number, rows[(number - 1) * 120 : number * 120])
            told = reader.read(store, 0, always)
            fresh = ByMinute(SENSOR).read(store, 0, always)
            assert (told.utc_s == fresh.utc_s).all() and told.light == pytest.approx(fresh.light), n
    late = reader.read(store, WALL_US + 300_000_000, always)
    assert len(late.utc_s) < len(fresh.utc_s) and late.utc_s[0] >= (WALL_US + 240_000_000) / 1e6


def _write(db, number: int, rows: list[tuple[int, Reading]]) -> None:
    values = (number, 1, 1, rows[0][0], rows[-1][0], WALL_US + rows[0][0], len(rows), pack(rows))
    db.execute("INSERT OR REPLACE INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)


def test_full_scale_damage_other_settings_and_the_night_are_left_out(tmp_path: Path) -> None:
    db = fill(tmp_path / "journal.sqlite3", chunks=6)
    store = Store(db)
    whole = ByMinute(SENSOR).read(store, 0, always)
    rows: list[tuple[int, Reading]] = [
        (240_000_000 + i * 1_000_000, RegisterReading(7, i, i * 1000, 2_000_000 if i == 70 else 5000, i, 0, 0, 0))
        for i in range(120)
    ]
    _write(db, 3, rows)
    bright = ByMinute(SENSOR).read(store, 0, always)
    assert len(bright.utc_s) == len(whole.utc_s) - 1, "the minute at full scale"
    db.execute("UPDATE chunk SET data = x'00' WHERE id = 5")
    assert len(ByMinute(SENSOR).read(store, 0, always).utc_s) < len(bright.utc_s)
    other = msgspec.structs.replace(SENSOR, scale=0.02)
    assert len(ByMinute(other).read(store, 0, always).utc_s) == 0
    moved = msgspec.structs.replace(SENSOR, zero=0.001)
    assert len(ByMinute(moved).read(store, 0, always).utc_s) > 0, "a zero that hardly moved is the same sensor"
    night = ByMinute(SENSOR).read(store, 0, lambda at_s: np.zeros(len(at_s), dtype=bool))
    assert 0 < len(night.utc_s) <= 3, "the newest chunk alone"


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
