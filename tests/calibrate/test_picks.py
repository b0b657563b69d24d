"""Picked steps, the right step of a strip, and the dose through a film."""

from __future__ import annotations

import math

import numpy as np
import pytest

from uvdose.calibrate.estimate import Estimate
from uvdose.calibrate.tablet import even
from uvdose.calibrate.wedge import read_picks, read_right_step, target_dose
from uvdose.model import Refusal
from uvdose.units import STOP_LOG10

X = tuple(even().log_doses(3.05))


def test_the_edge_lies_between_the_last_full_step_and_the_next() -> None:
    found = read_picks(X, 6, 15)
    assert found.full.best == pytest.approx((X[6] + X[7]) / 2)
    assert found.full.low < X[7] and found.full.high > X[6]
    assert found.threshold is not None and found.threshold.best == pytest.approx((X[15] + X[16]) / 2)
    assert found.exposure_scale is not None and found.exposure_scale.best == pytest.approx(9 * 0.15)


def test_the_step_taken_as_the_edge_over_exposes_by_a_quarter_stop() -> None:
    """Trade: with steps of 0.15 the true edge lies 0.075 in log dose lower on average."""
    found = read_picks(X, 6, 15)
    assert (found.safe - found.full.best) / STOP_LOG10 == pytest.approx(0.25, abs=0.001)


def test_the_interval_is_that_of_its_own_model() -> None:
    """Against draws of what it states: anywhere in the gap, an eye that strays by .04, one pick in ten a step aside."""
    rng = np.random.default_rng(41)
    n = 400_000
    gap = 0.15 * (rng.random(n) - 0.5 + rng.choice([-1, 0, 1], n, p=[0.05, 0.9, 0.05]))
    low, high = np.percentile(gap + rng.normal(0, 0.04, n), (2.5, 97.5))
    found = read_picks(X, 6, 15).full
    assert found.low - found.best == pytest.approx(low, abs=2e-3)
    assert found.high - found.best == pytest.approx(high, abs=2e-3)


def test_without_slips_or_noise_the_gap_remains() -> None:
    found = read_picks((2.0, 1.0), 0, None, judge_noise=0.0).full
    assert (found.low, found.high) == pytest.approx((1.025, 1.975))


def test_order_does_not_matter() -> None:
    assert read_picks(X[::-1], 20 - 6, 20 - 15) == read_picks(X, 6, 15)


def test_every_step_with_tone_tells_no_threshold() -> None:
    found = read_picks(X, 6, 20)
    assert found.threshold is None and found.exposure_scale is None
    assert any("thicker steps" in note for note in found.notes)


@pytest.mark.parametrize(
    ("full", "tone", "line"),
    [
        (20, 20, "all steps print full tone: expose less"),
        (-1, 5, "step 0: give one from 1 to 21"),
        (21, 5, "step 22: give one from 1 to 21"),
        (8, 3, "step 9 of full tone has less light than step 4"),
    ],
)
def test_picks_that_cannot_be(full: int, tone: int, line: str) -> None:
    with pytest.raises(Refusal, match=line):
        read_picks(X, full, tone)


def test_the_right_step_is_known_to_half_a_step() -> None:
    assert read_right_step((1.0, 1.2, 1.5), 1) == Estimate(1.1, 1.2, 1.35)
    end = read_right_step((1.0, 1.2, 1.5), 2)
    assert (end.low, end.best, end.high) == pytest.approx((1.35, 1.5, 1.8))
    wider = read_right_step((1.0, 1.2, 1.5), 1, dose_u=0.1)
    assert wider.high - wider.best == pytest.approx(math.hypot(0.15, 1.96 * 0.1 / math.log(10)))
    with pytest.raises(Refusal, match="at least two different doses"):
        read_right_step((1.0, 1.0), 0)


def test_the_dose_through_a_film() -> None:
    full, film = Estimate(1.9, 2.0, 2.1), Estimate(0.06, 0.1, 0.14)
    alone, through = target_dose(full, None), target_dose(full, film)
    assert alone.best == pytest.approx(100) and through.best == pytest.approx(100 * 10**0.1)
    assert math.log10(through.high) - 2.1 == pytest.approx(math.hypot(0.1, 0.04))


def test_estimates() -> None:
    a = Estimate.from_samples(np.arange(1001) / 1000, 0.5)
    assert (a.low, a.best, a.high) == pytest.approx((0.025, 0.5, 0.975))
    assert Estimate.around(1.0, STOP_LOG10).half_stops == pytest.approx(1)
    assert a.shifted(1).best == 1.5 and Estimate.exactly(2.0).exp10() == Estimate(100, 100, 100)
    assert a.minus(Estimate.exactly(0.5)).low == pytest.approx(-0.475)
