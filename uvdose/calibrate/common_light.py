"""The scale of a sensor from light that another one measured too, or that is known. Pure, with numpy."""

from __future__ import annotations

import math

import msgspec
import numpy as np
from numpy.typing import NDArray

from ..dose.integrator import reading_value
from ..dose.stretch import Rows
from ..dose.uncertainty import Part, combine, coverage_factor
from ..model import Refusal
from ..units import US_PER_S, percent

BLOCKS = 10
LEAST_MEANS = 30
APART = 0.05  # beside each other, what is left of one when the other is taken off, as a share of the light
MOST_ALIKE = 0.9
MOVES, FOLLOWS = 0.1, 0.9  # light that changes by this share must make both move alike

Values = NDArray[np.float64]


class Scale(msgspec.Struct, frozen=True):
    """mW/cm² per unit, 95 %. u: relative standard uncertainty in all; fit_u: of the ratio alone. apart: what is left of
    the light when the ratio is taken off, as a share of it. means: how many pairs of means it rests on.
    """

    scale: float
    low: float
    high: float
    u: float
    fit_u: float
    apart: float
    seconds: float
    means: int


def together(a: Rows, b: Rows) -> tuple[Values, Values, float]:
    """Means of two sensors over the same seconds, and how long each is. Slower sensors get longer ones."""
    slowest_s = max(_usual_s(a), _usual_s(b))
    long_us = int(max(1.0, math.ceil(1.5 * slowest_s)) * US_PER_S)
    means = []
    for rows in (a, b):
        sums: dict[int, list[float]] = {}
        for t_us, reading in rows:
            sums.setdefault(t_us // long_us, []).append(reading_value(reading))
        means.append({second: math.fsum(v) / len(v) for second, v in sums.items()})
    both = sorted(means[0].keys() & means[1].keys())[1:-1]  # the first and the last are not whole
    pairs = [np.array([m[second] for second in both], dtype=np.float64) for m in means]
    return pairs[0], pairs[1], long_us / US_PER_S


def ratio(x: Values, y: Values, mean_s: float, others: dict[str, float]) -> Scale:
    """y = scale times x, by least squares through zero. x: in the unit, its zero taken off; y: in mW/cm².

    Neighbouring means stray alike, so that a single one is worth less than it seems. The ratio's uncertainty is that of
    ten blocks about the whole, each weighted by its light, with Student's t for nine degrees of freedom; or what the
    residuals tell if each follows the one before (their long-run variance under an AR(1): Andrews, Econometrica 59,
    1991, 817), if that is more, since even blocks are alike where the light wanders slowly. others: relative standard
    uncertainties besides.
    Raises `Refusal` where there is too little, or where the two do not see the same light.
    """
    if len(x) < LEAST_MEANS:
        raise Refusal(f"only {len(x)} means of both sensors together, and {LEAST_MEANS} are needed: measure longer")
    if float(np.mean(x)) <= 0 or float(np.mean(y)) <= 0:
        raise Refusal("there is no light on them: lay both into the sun, beside each other")
    scale = float(x @ y / (x @ x))
    left = y - scale * x
    apart = float(np.sqrt(np.mean(left**2)) / np.mean(y))
    changes = float(np.std(y) / np.mean(y))
    alike = float(np.corrcoef(x, y)[0, 1]) if changes > MOVES and float(np.std(x)) > 0 else 1.0
    if apart > APART or alike < FOLLOWS:
        raise Refusal(
            f"the two do not follow each other: {percent(apart)} of the light is left when their ratio is taken off:"
            " lay them beside each other, level, under the same sky, with nothing that shades one of them"
        )
    weights = np.array([float(block @ block) for block in np.array_split(x, BLOCKS)])
    ratios = np.array([float(p @ q / (p @ p)) for p, q in zip(
        np.array_split(x, BLOCKS), np.array_split(y, BLOCKS), strict=True)])  # fmt: skip
    shares = weights / weights.sum()
    block_u = float(np.sqrt(np.sum(shares**2 * (ratios - scale) ** 2) * BLOCKS / (BLOCKS - 1))) / scale
    fit_u = max(block_u, _following_u(x * left) / float(x @ x) / scale)
    return _stated(scale, fit_u, BLOCKS - 1, others, apart, len(x) * mean_s, len(x))


def _following_u(z: Values) -> float:
    """Standard deviation of a sum whose terms each follow the one before; never less than if they did not.

    The correlation of neighbours is told too low from few terms, by about (1 + 3 rho) / n (Kendall, Biometrika 41,
    1954, 403), which is made good.
    """
    square = float(z @ z)
    if square == 0:
        return 0.0
    rho = float(z[1:] @ z[:-1]) / square
    rho = min(MOST_ALIKE, rho + (1 + 3 * rho) / len(z)) if rho > 0 else 0.0
    return math.sqrt(square * (1 + rho) / (1 - rho))


def of_known(x: Values, known: float, mean_s: float, others: dict[str, float]) -> Scale:
    """The scale by light of a known strength in mW/cm², which must stand still. x: as for `ratio`."""
    return ratio(x, np.full_like(x, known), mean_s, others)


def _stated(
    scale: float, fit_u: float, dof: float, others: dict[str, float], apart: float, seconds: float, means: int
) -> Scale:
    parts = [Part("fit", fit_u, dof), *(Part(name, u) for name, u in others.items())]
    u, whole_dof = combine(parts)
    half = coverage_factor(whole_dof) * u
    return Scale(scale, scale * max(0.0, 1 - half), scale * (1 + half), u, fit_u, apart, seconds, means)


def _usual_s(rows: Rows) -> float:
    return float(np.median(np.diff([t_us for t_us, _ in rows]))) / US_PER_S if len(rows) > 1 else math.inf
