"""Large sums of days are read in J/cm² on screens; 1 J is 1000 mJ (SI)."""

from __future__ import annotations

import pytest

from uvdose.review.layout import sum_and_unit


@pytest.mark.parametrize("mj", [0.0, 43.2, 9_999.9, 10_000.0, 113_881.0, 3_400_000.0])
def test_the_figure_is_the_same_light(mj: float) -> None:
    told, unit = sum_and_unit(mj, "mJ/cm2")
    times = {"mJ/cm²": 1, "J/cm²": 1000}[unit]
    assert float(told) * times == pytest.approx(mj, rel=1e-3, abs=1e-9) and (times == 1000) == (mj >= 10_000)


def test_what_has_no_such_unit_stays() -> None:
    assert sum_and_unit(250_000.0, "counts.s") == ("250000", "counts·s")
