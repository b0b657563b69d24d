"""Spearman's rank correlation, how sure it is, and how easily chance makes as much."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

FEWEST = 8
BY_PERMUTING = 200  # with more pairs the normal approximation is as good
SHUFFLES, SEED = 9999, 20260621
_Z95 = 1.959963984540054

Floats = npt.NDArray[np.float64]


class Correlation(msgspec.Struct, frozen=True):
    """rho: -1 to 1. low..high: 95 %. p: how often chance alone makes as much or more, of either sign. n: pairs."""

    rho: float
    low: float
    high: float
    p: float
    n: int


def rank_correlation(x: list[float], y: list[float]) -> Correlation | None:
    """Of at least `FEWEST` pairs; None for fewer, and where one of the two does not vary.

    rho: Pearson's of the mid-ranks. The interval is Fisher's, with the variance of Bonett and Wright (Psychometrika 65
    (2000) 23-28), (1 + rho²/2) / (n - 3); it comes no nearer to 1 than a swap of two neighbours makes. p: by shuffling,
    the same on every call; for many pairs rho sqrt(n - 1) is taken as normal. Raises `ValueError` for what are no
    pairs.
    """
    n = len(x)
    if n != len(y):
        raise ValueError("x and y must be pairs")
    if n < FEWEST or len(set(x)) < 2 or len(set(y)) < 2:
        return None
    a, b = _standard(mid_ranks(x)), _standard(mid_ranks(y))
    rho = min(1.0, max(-1.0, float(a @ b)))
    most = 1 - 12 / (n * (n * n - 1))
    z = math.atanh(min(most, max(-most, rho)))
    half = _Z95 * math.sqrt((1 + rho * rho / 2) / (n - 3))
    return Correlation(rho, math.tanh(z - half), math.tanh(z + half), _chance(a, b, rho), n)


def mid_ranks(values: list[float]) -> Floats:
    """Ranks from 1; equal values share the mean of theirs."""
    _, place, count = np.unique(np.asarray(values, dtype=np.float64), return_inverse=True, return_counts=True)
    upto = np.cumsum(count)
    mean: Floats = upto - (count - 1) / 2
    ranks: Floats = mean[place]
    return ranks


def _standard(ranks: Floats) -> Floats:
    centred = ranks - ranks.mean()
    found: Floats = centred / math.sqrt(float(centred @ centred))
    return found


def _chance(a: Floats, b: Floats, rho: float) -> float:
    n = len(a)
    if n > BY_PERMUTING:
        return math.erfc(abs(rho) * math.sqrt(n - 1) / math.sqrt(2))
    random: Any = np.random.default_rng(SEED)
    shuffled = random.permuted(np.tile(b, (SHUFFLES, 1)), axis=1)
    as_much = int(np.count_nonzero(np.abs(shuffled @ a) >= abs(rho) - 1e-12))
    return (as_much + 1) / (SHUFFLES + 1)
