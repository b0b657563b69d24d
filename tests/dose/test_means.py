"""Means over a stretch: their integral is exact, however they are cut, and what no mean covers is a hole.

Oracle: value x seconds (the definition of a mean), in whole numbers here, so that sums are exact.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from uvdose.config import SensorSettings
from uvdose.dose.account import Account
from uvdose.dose.integrator import Track
from uvdose.dose.response import response_of
from uvdose.journal.pack import kind_of, pack, unpack, unpack_values
from uvdose.model import Kind, Mark, MeanReading, MomentReading, MomentSegment

MINUTE_US = 60_000_000
RESPONSE = response_of(SensorSettings("roof", "recording", file="-", format="csv", unit="W/m2"))


def dose(values: list[int], begin_us: int, end_us: int, at: list[int] | None = None) -> Account:
    """Minute means that end at whole minutes 1, 2, …, or at those given."""
    track, account = Track(RESPONSE), Account(RESPONSE)
    account.open(Mark(begin_us))
    account.close(Mark(end_us))
    for minute, value in zip(at or range(1, len(values) + 1), values, strict=True):
        for segment in track.feed(MeanReading(float(value), None, None, MINUTE_US), minute * MINUTE_US):
            account.add(segment)
    return account


@given(st.lists(st.integers(-5, 1500), min_size=1, max_size=30))
def test_the_sum_is_that_of_the_means(values: list[int]) -> None:
    assert dose(values, 0, 1 << 50).figures().dose == sum(values) * 60


@given(st.lists(st.integers(0, 1500), min_size=3, max_size=12), st.data())
def test_a_cut_takes_its_share(values: list[int], data: st.DataObject) -> None:
    cut = data.draw(st.integers(0, 60 * len(values)))
    part, rest = dose(values, 0, cut * 1_000_000), dose(values, cut * 1_000_000, 1 << 50)
    exact = sum(v * max(0, min(60, cut - 60 * i)) for i, v in enumerate(values))
    assert part.figures().dose == pytest.approx(exact, rel=1e-12, abs=1e-9)
    assert part.figures().dose + rest.figures().dose == pytest.approx(sum(values) * 60, rel=1e-12, abs=1e-9)


def test_what_no_mean_covers_is_a_hole() -> None:
    figures = dose([10, 20, 30], 0, 1 << 50, at=[1, 2, 5]).figures()
    assert (figures.dose, figures.measured_s, figures.missing_s) == (10 * 60 + 20 * 60 + 30 * 60, 180, 120)
    bridged = Track(RESPONSE)
    bridged.feed(MeanReading(10.0, None, None, MINUTE_US), MINUTE_US)
    late = bridged.feed(MeanReading(30.0, None, None, MINUTE_US), 2 * MINUTE_US + 5_000_000)
    assert [s.kind for s in late] == [Kind.BRIDGED, Kind.MEASURED]
    assert [s.t1_us - s.t0_us for s in late] == [5_000_000, MINUTE_US]


def test_an_overlap_counts_once() -> None:
    track = Track(RESPONSE)
    track.feed(MeanReading(10.0, None, None, MINUTE_US), MINUTE_US)
    (segment,) = track.feed(MeanReading(20.0, None, None, MINUTE_US), MINUTE_US + 40_000_000)
    assert isinstance(segment, MomentSegment) and segment.t1_us - segment.t0_us == 40_000_000


@given(st.lists(st.tuples(
    st.floats(allow_nan=False), st.none() | st.integers(0, 1 << 60), st.integers(1, 1 << 60)), min_size=1, max_size=120
))  # fmt: skip
def test_packed_and_unpacked_is_the_same(told: list[tuple[float, int | None, int]]) -> None:
    rows = [(i * 1000, MeanReading(value, None, seq, span)) for i, (value, seq, span) in enumerate(told)]
    kind = kind_of(rows[0][1])
    assert unpack(kind, pack(rows)) == rows
    times, values = unpack_values(kind, pack(rows))
    assert times.tolist() == [t for t, _ in rows] and values.tolist() == [r.value for _, r in rows]
    assert kind != kind_of(MomentReading(1.0))
