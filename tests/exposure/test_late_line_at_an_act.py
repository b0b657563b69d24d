"""An act while a line is under way whose dose time lies before the act, though its uptime lies behind the mark."""

from __future__ import annotations

import pytest

from uvdose.dose.response import Identity, Response
from uvdose.exposure.bench import Bench
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.model import RegisterReading


def test_the_light_between_two_marks_is_counted_whole() -> None:
    """The first line comes 60 ms late, so that dose time stands still at the next, which come in time."""
    response = Response(1.0, 0.0, None, "counts.s")
    bench = Bench()
    bench.add_sensor("n", Identity("n", "native", "counts", None, 0.0, None, None, "sun"), response)

    def at(ms: int, late_ms: int) -> int:
        return (10_000 + ms + late_ms) * 1000

    def line(seq: int, ms: int, late_ms: int) -> None:
        bench.take("n", [RegisterReading(7, seq, ms, 500_000, 500 * ms, 0, 0, 0)], at(ms, late_ms))

    line(0, 1000, 60)
    target = Target("t", 1, 1e6, "counts.s")
    bench.start(Plan(1, target, "n", "1", response, at(1005, 60)), at(1005, 60))
    line(1, 1010, 60)
    line(2, 1020, 5)
    bench.act(1, Act.HOLD, at(1100, 8))
    line(3, 1100, 11)  # sampled before the hold, arrives after it
    line(4, 1110, 5)
    exposure = bench.exposures[1]
    start, hold = (a.cut.register or 0 for a in exposure.acts)
    assert exposure.account.figures().dose == pytest.approx((hold - start) / 1000, rel=1e-12)
