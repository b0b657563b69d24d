"""Lamps: warm-up, ageing, distance, against closed forms and seeded noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from uvdose.light.lamps import DAYS_PER_YEAR, ageing, distance_factor, t95, warm_up


def _warming(until_s: float, tau_s: float = 90.0, noise: float = 0.0) -> tuple[list[float], list[float]]:
    """E = 10 (1 - 0.4 exp(-t / tau)), each 2 s."""
    times = np.arange(0.0, until_s, 2.0)
    light = 10 * (1 - 0.4 * np.exp(-times / tau_s)) * (1 + noise * np.random.default_rng(4).normal(size=len(times)))
    return times.tolist(), light.tolist()


def test_a_lamp_that_warms_up_becomes_steady_where_the_exponential_says() -> None:
    """The slope of the window's least-squares line falls below 2 % of its mean near where the curve itself changes by
    less than 2 % over the window: 0.4 exp(-t/tau)(exp(w/tau) - 1) = 0.02."""
    window, tau = 120.0, 90.0
    expected = tau * math.log(0.4 * (math.exp(window / tau) - 1) / 0.02)
    verdicts = {t: warm_up(*_warming(t)).steady for t in range(150, 900, 10)}
    first = min(t for t, steady in verdicts.items() if steady)
    assert first == pytest.approx(expected, abs=40)
    assert all(steady for t, steady in verdicts.items() if t >= first)


def test_when_it_will_be_is_foretold() -> None:
    """From a noiseless exponential the time that is left is the same however early it is asked."""
    ends = [t + (warm_up(*_warming(t)).settles_in_s or 0.0) for t in (150.0, 200.0, 260.0)]
    assert ends == pytest.approx([ends[0]] * 3, abs=8)
    window, tau = 120.0, 90.0
    assert ends[0] == pytest.approx(tau * math.log(0.4 * (math.exp(window / tau) - 1) / 0.02), abs=15)


def test_change_is_told_with_its_interval() -> None:
    """A straight drift of 3 % over the window, with 1 % noise: within the interval in about 95 of 100 draws."""
    times = np.arange(0.0, 121.0, 2.0)
    inside = 0
    for seed in range(300):
        noise = np.random.default_rng(seed).normal(0, 0.01, len(times))
        found = warm_up(times.tolist(), ((1 + 0.03 * (times - 60) / 120) + noise).tolist())
        inside += found.change_low <= 0.03 <= found.change_high
    assert 0.91 < inside / 300 < 0.99


@pytest.mark.parametrize("seconds", [2.0, 60.0, 90.0])
def test_too_little_is_told_as_that(seconds: float) -> None:
    assert warm_up(*_warming(seconds)).steady is None


def test_a_dark_lamp_is_not_steady() -> None:
    times = list(np.arange(0.0, 200.0, 2.0))
    assert warm_up(times, [0.0] * len(times)).steady is None


def test_a_lamp_that_gets_no_steadier_has_no_end_in_sight() -> None:
    times = np.arange(0.0, 200.0, 2.0)
    found = warm_up(times.tolist(), (1 + times / 200).tolist())
    assert found.steady is False and found.settles_in_s is None


def test_an_exponential_loss_is_given_back() -> None:
    """E = 8 exp(-t / 600 d): 1 - exp(-365.25/600) a year, a tenth gone after 600 x 0.10536 days."""
    days = [0.0, 40.0, 90.0, 200.0, 300.0]
    found = ageing(days, [8 * math.exp(-d / 600) for d in days])
    assert found.per_year == pytest.approx(1 - math.exp(-DAYS_PER_YEAR / 600), rel=1e-9)
    assert (found.low, found.high) == pytest.approx((found.per_year, found.per_year), rel=1e-6)
    assert found.loses_tenth_days == pytest.approx(600 * -math.log(0.9))


@pytest.mark.parametrize("readings", [3, 6, 14])
def test_the_interval_of_ageing_holds_the_truth(readings: int) -> None:
    """Seeded readings with 2 % noise: the loss of 20 % a year lies within in about 95 of 100 draws."""
    days = np.linspace(0, 400, readings)
    inside = 0
    for seed in range(400):
        noise = np.random.default_rng(seed).normal(0, 0.02, readings)
        found = ageing(days.tolist(), (5 * 0.8 ** (days / DAYS_PER_YEAR) * np.exp(noise)).tolist())
        inside += found.low <= 0.2 <= found.high
    assert 0.92 < inside / 400 < 0.98


def test_a_lamp_that_does_not_lose() -> None:
    found = ageing([0, 100, 200], [5.0, 5.1, 5.2])
    assert found.per_year < 0 and found.loses_tenth_days is None


def test_inverse_square_and_disc() -> None:
    """Closed forms: (d1/d2)² for a small lamp; Lambert's disc R²/(R²+d²), equal to it within 1 % from ten radii on."""
    assert distance_factor(0.3, 0.6) == pytest.approx(0.25)
    assert distance_factor(0.6, 0.3) == pytest.approx(4.0)
    assert distance_factor(0.1, 0.2, 0.1) == pytest.approx(0.02 / 0.05)
    assert distance_factor(1.0, 2.0, 0.1) == pytest.approx(0.25, rel=0.01)
    assert distance_factor(0.4, 0.7, 0.2) * distance_factor(0.7, 0.4, 0.2) == pytest.approx(1.0)
    for wrong in ((0.0, 1.0, 0.0), (1.0, -1.0, 0.0), (1.0, 1.0, -0.1), (float("nan"), 1.0, 0.0)):
        with pytest.raises(ValueError, match="distance"):
            distance_factor(*wrong)


@pytest.mark.parametrize("freedom", [1, 2, 5, 10, 11, 15, 30, 200])
def test_student_s_t(freedom: int) -> None:
    assert t95(freedom) == pytest.approx(float(stats.t.ppf(0.975, freedom)), rel=2e-3)


def test_bad_input() -> None:
    for times, light in (([0, 1], [1.0]), ([], []), ([1, 0, 2], [1, 1, 1]), ([0, 0, 1], [1, 1, 1])):
        with pytest.raises(ValueError, match="later than"):
            ageing(times, light)
        with pytest.raises(ValueError, match="later than"):
            warm_up(times, light)
    for light in ([1.0, 0.0, 1.0], [1.0, -1.0, 1.0]):
        with pytest.raises(ValueError, match="above 0"):
            ageing([0, 1, 2], light)
    with pytest.raises(ValueError, match="above 0"):
        ageing([0, 1], [1.0, 1.0])
    with pytest.raises(ValueError):
        warm_up([0, 1, 2], [1.0, math.nan, 1.0])
    with pytest.raises(ValueError, match="freedom"):
        t95(0)
