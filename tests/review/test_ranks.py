"""Rank correlation, spread and what stands apart, against scipy and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from uvdose.review.ranks import FEWEST, SHUFFLES, mid_ranks, rank_correlation
from uvdose.review.spread import apart, mean_and_spread


@pytest.mark.parametrize("seed", range(20))
def test_rho_and_p_are_scipys(seed: int) -> None:
    random = np.random.default_rng(seed)
    n = int(random.integers(FEWEST, 40))
    x = random.normal(size=n).round(int(random.integers(0, 3)))  # coarse: with ties
    y = (random.normal() * x + random.normal(size=n)).round(1)
    found = rank_correlation(list(x), list(y))
    assert found is not None and found.n == n
    assert list(mid_ranks(list(x))) == list(stats.rankdata(x))
    told = stats.spearmanr(x, y)
    assert found.rho == pytest.approx(told.statistic, abs=1e-12)
    assert found.low <= found.rho <= found.high
    assert found.p == pytest.approx(told.pvalue, abs=0.03), "the t approximation of scipy"


def test_p_of_eight_pairs_is_the_exact_one() -> None:
    """All 40,320 orders, by scipy."""
    x = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]
    y = [2.0, 1.0, 4.0, 3.0, 8.0, 5.0, 6.0, 7.0]
    ranked = np.asarray(y)

    def as_rows(a: np.ndarray, axis: int) -> np.ndarray:
        return ((a - a.mean(axis, keepdims=True)) * (ranked - ranked.mean())).sum(axis)

    exact = stats.permutation_test((x,), as_rows, permutation_type="pairings", n_resamples=np.inf, vectorized=True,
                                   axis=-1).pvalue  # fmt: skip
    found = rank_correlation(x, y)
    assert found is not None
    assert found.p == pytest.approx(exact, abs=5 * math.sqrt(exact / SHUFFLES))


def test_p_of_many_pairs_is_scipys() -> None:
    random = np.random.default_rng(5)
    for slope in (0.0, 0.05, 0.15):
        x = random.normal(size=900)
        y = slope * x + random.normal(size=900)
        found, told = rank_correlation(list(x), list(y)), stats.spearmanr(x, y)
        assert found is not None and found.p == pytest.approx(told.pvalue, abs=0.002)


@pytest.mark.parametrize(("pearson", "n"), [(0.0, 8), (0.5, 12), (0.8, 30), (-0.6, 20)])
def test_the_interval_holds_the_truth(pearson: float, n: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """For normal pairs Spearman's is 6/pi asin(Pearson's / 2) (Pearson 1907; from memory). Stated: 95 %."""
    from uvdose.review import ranks

    monkeypatch.setattr(ranks, "_chance", lambda *_: 1.0)  # not asked for, and slow
    random = np.random.default_rng(n)
    truth, held, rounds = 6 / math.pi * math.asin(pearson / 2), 0, 1000
    for _ in range(rounds):
        x = random.normal(size=n)
        y = pearson * x + math.sqrt(1 - pearson**2) * random.normal(size=n)
        found = rank_correlation(list(x), list(y))
        assert found is not None
        held += found.low <= truth <= found.high
    assert 0.92 <= held / rounds <= 0.985, held / rounds


def test_the_same_on_every_call_and_never_beyond_one() -> None:
    x = [float(i) for i in range(9)]
    up, down = rank_correlation(x, [v * v for v in x]), rank_correlation(x, [-v for v in x])
    assert up is not None and down is not None and up == rank_correlation(x, [v * v for v in x])
    assert (up.rho, down.rho) == pytest.approx((1.0, -1.0))
    assert up.low < up.high < 1 and down.high == pytest.approx(-up.low)
    assert up.p == pytest.approx(1 / (SHUFFLES + 1), abs=3 / SHUFFLES), "two orders of 362,880 are as good"


@pytest.mark.parametrize(("x", "y"), [
    ([1.0, 2, 3, 4, 5, 6, 7], [1.0, 2, 3, 4, 5, 6, 7]), ([1.0] * 9, [float(i) for i in range(9)]),
    ([float(i) for i in range(9)], [0.5] * 9), ([], []),
])  # fmt: skip
def test_too_few_or_all_the_same_say_nothing(x: list[float], y: list[float]) -> None:
    assert rank_correlation(x, y) is None


def test_pairs_must_be_pairs() -> None:
    with pytest.raises(ValueError, match="pairs"):
        rank_correlation([1.0] * 9, [1.0] * 8)


@pytest.mark.parametrize("seed", range(10))
def test_mean_spread_and_apart(seed: int) -> None:
    """Standard deviation by numpy; apart by scipy's median deviation: |x - median| / 1.4826 MAD above 3.5."""
    random = np.random.default_rng(seed)
    values = list(random.normal(scale=0.1, size=12)) + list(random.normal(scale=2, size=2))
    mean, spread = mean_and_spread(values)
    assert mean == pytest.approx(np.mean(values)) and spread == pytest.approx(np.std(values, ddof=1))
    scores = np.abs(values - np.median(values)) / stats.median_abs_deviation(values, scale="normal")
    assert apart(values) == [int(i) for i in np.flatnonzero(scores > 3.5)]
    assert apart(values, least=100.0) == [] and apart(values[:4]) == []


def test_figures_that_are_all_alike() -> None:
    assert mean_and_spread([]) == (None, None) and mean_and_spread([0.5]) == (0.5, None)
    assert apart([0.1] * 6 + [0.1001], least=1 / 12) == [] and apart([0.1] * 6 + [0.5], least=1 / 12) == [6]
