"""What a printed tablet or test strip says: the dose for full tone, the threshold, the range, and how sure each is.

The intervals come from replicates: the fitted curve is printed anew with noise of the size that the residuals leave
open, and fitted again, all at once. What the dose itself is uncertain by is common to all steps and added at the end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from ..model import Refusal
from .curve import FLOOR, FULL_BELOW, LN10, LOPSIDED_U, SHOULDER_SHARE, THRESHOLD_NET, fit_many, model, points_many
from .estimate import Estimate, FloatArray
from .picks import PicksReading, read_picks, read_right_step, target_dose
from .rising import Rising, fit_rising, structure
from .steps import LEAST_RISE, LeftOut, Steps, take_steps

__all__ = ["PicksReading", "WedgeReading", "read_picks", "read_right_step", "read_wedge", "target_dose"]

READING_U = 0.02
READING_WORTH = 4
"""What a reading strays by before its print says more (a densitometer or scanner used by hand), and how many readings
that expectation is worth. A print of six steps alone could not tell its own noise."""
STRUCTURE_SHARE, STRUCTURE_SHARE_IF_ROUGH, ROUGH = 0.99, 0.90, 1.5
"""An S-curve does not fit where neighbouring residuals are more alike than in 99 % of its own replicates; where they
are also half as large again as readings stray, than in 90 %."""
LEAST_FOR_STRUCTURE, LEAST_REPLICATES = 10, 40
SURELY_LOPSIDED = 0.05
REACH_BEYOND = 0.15
"""How far below the least dose a threshold is still told from the curve, in log10 dose: one usual step."""
CHART_POINTS = 121
UNSURE_STOPS, USELESS_STOPS = 0.5, 2.0


class WedgeReading(msgspec.Struct, frozen=True):
    """What one print says. Doses are log10; densities are what was read.

    full: where full tone begins, `full_below` under the deepest. threshold: HT of ISO 6846, where tone begins. hs:
    where 0.90 of the net density is reached. range_r: R = 100 (HS - HT). contrast: average gradient from HT to HS.
    exposure_scale: full - threshold, the density range that a negative should have. None: the paper's base was not
    reached, so where tone begins is not known. noise: standard deviation of the readings about the curve. how:
    "s-curve" or "monotone". left_out: (position in what was given, counted from 0; why).
    """

    full: Estimate
    threshold: Estimate | None
    hs: Estimate
    range_r: Estimate | None
    contrast: Estimate | None
    exposure_scale: Estimate | None
    d_min: float
    d_max: float
    noise: float
    how: str
    curve_x: tuple[float, ...]
    curve_y: tuple[float, ...]
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]


class _Found(msgspec.Struct, frozen=True):
    """A fitted curve's points (HT, HS, full) and net density, and those of its replicates."""

    how: str
    best: tuple[float, float, float]
    samples: tuple[FloatArray, FloatArray, FloatArray]
    d_net: float
    nets: FloatArray
    d_min: float
    noise: float
    grid: FloatArray
    drawn: FloatArray
    notes: tuple[str, ...] = ()


def read_wedge(
    x: Sequence[float],
    densities: Sequence[float | None],
    *,
    full_below: float = FULL_BELOW,
    seed: int = 0,
    replicates: int = 400,
    dose_u: float = 0.0,
    base: float | None = None,
) -> WedgeReading:
    """Read a print whose steps got the log10 doses x (in any order) and show `densities` (None: not read).

    full_below: how far under the deepest density a step still counts as full tone. dose_u: relative standard
    uncertainty of the dose, common to all steps. base: density of the bare paper through the whole process, where it
    was read. seed: of the replicates. Raises `Refusal` (code 4) for a print that cannot tell, with what to do next.
    """
    if not 0.005 <= full_below <= 0.5:
        raise Refusal(f"full tone {full_below:g} below the deepest: give 0.005 to 0.5, such as 0.05", 2)
    if not (math.isfinite(dose_u) and 0 <= dose_u <= 1):
        raise Refusal(f"dose uncertainty {dose_u:g}: give a share from 0 to 1, such as 0.02", 2)
    steps = take_steps(x, densities)
    _check_meant(steps, full_below, base)
    rng = np.random.default_rng(seed)
    found = _s_curve(steps, full_below, rng, replicates, base)
    if found is None:
        found = _monotone(steps, full_below, rng, replicates)
    _check_full(found, steps)
    return _told(steps, found, rng.normal(0, dose_u / LN10, replicates), base)


def _check_meant(steps: Steps, full_below: float, base: float | None) -> None:
    """What was said besides the densities must go with them."""
    low, high = float(steps.y.min()), float(steps.y.max())
    if full_below >= high - low:
        raise Refusal(f"full tone {full_below:g} below the deepest is more than this print's whole range of"
                      f" {high - low:.2f}: give less, such as 0.05", 2)  # fmt: skip
    if base is not None and base > low + LEAST_RISE:
        raise Refusal(f"the bare paper reads {base:.2f}, darker than the lightest step with {low:.2f}: read it anew", 2)


def _s_curve(
    steps: Steps, full_below: float, rng: np.random.Generator, replicates: int, base: float | None
) -> _Found | None:
    """An S-curve, even and lopsided, each with the weight that the readings give it; None where neither fits."""
    lopsided = _shape(steps, rng, replicates, base, None)
    spread = max(1e-6, float(np.std(np.log(lopsided.again[:, 4]))))
    share = _share_of_even(math.log(lopsided.best[0, 4]), spread)
    of_even = round(share * replicates)
    even = _shape(steps, rng, max(of_even, LEAST_REPLICATES), base, lopsided.best)
    likelier = even if share >= 0.5 else lopsided
    enough = STRUCTURE_SHARE if likelier.size < ROUGH * READING_U else STRUCTURE_SHARE_IF_ROUGH
    told = len(steps.x) >= LEAST_FOR_STRUCTURE and likelier.rms > FLOOR
    if told and likelier.own > np.quantile(likelier.usual, enough):
        return None
    rows = np.concatenate((even.again[:of_even], lopsided.again[: replicates - of_even]))
    last = float(steps.x[-1]) if steps.reverses else None
    points = [
        (share * float(a[0]) + (1 - share) * float(b[0]))
        for a, b in zip(points_many(even.best, full_below, last), points_many(lopsided.best, full_below, last),
                        strict=True)
    ]
    grid = np.linspace(steps.x[0], steps.x[-1], CHART_POINTS)
    mixed = (share * even.best + (1 - share) * lopsided.best)[0]
    drawn = share * model(even.best, grid)[0] + (1 - share) * model(lopsided.best, grid)[0]
    notes = ("the curve is lopsided: its toe and its shoulder differ",) if share < SURELY_LOPSIDED else ()
    return _Found(
        "s-curve", (points[0], points[1], points[2]), points_many(rows, full_below, last), float(mixed[1]), rows[:, 1],
        float(mixed[0]), likelier.size, grid, drawn, notes,
    )


class _Shape(msgspec.Struct, frozen=True):
    """One shape fitted: its parameters (one row), those of replicates, and how structured residuals are in each."""

    best: FloatArray
    again: FloatArray
    size: float
    rms: float
    own: float
    usual: FloatArray


def _shape(
    steps: Steps, rng: np.random.Generator, replicates: int, base: float | None, near: FloatArray | None
) -> _Shape:
    """Fit one shape: the even S starting from `near`, or a lopsided one. How lopsided it may be is itself drawn."""
    x, y, skewed = steps.x, steps.y, near is None
    best = fit_many(x, y, base, robust=False, skewed=skewed, noise=READING_U, tol=1e-7)
    fitted = (4 if base is None else 3) + skewed
    size, dof = _noise(float(best.rss[0]), len(x) - fitted)
    expected = model(best.params, x)[0]
    again = expected + _draws(rng, size, dof, (replicates, len(x)))
    lean = rng.normal(0, LOPSIDED_U, replicates) if skewed else None
    fits = fit_many(
        x, again, base, robust=False, skewed=skewed, start=best.params, lean=lean, noise=size, tol=1e-3, most=25
    )
    own, usual = structure(y - expected)[0], structure(again - model(fits.params, x))
    return _Shape(best.params, fits.params, size, math.sqrt(float(best.rss[0]) / len(x)), float(own), usual)


def _share_of_even(ln_skew: float, spread: float) -> float:
    """How likely the even S is, both shapes being equally likely beforehand: the Savage-Dickey ratio at skew 1."""
    for_even = math.exp(-((ln_skew / spread) ** 2) / 2) * LOPSIDED_U / spread
    return for_even / (1 + for_even)


def _monotone(steps: Steps, full_below: float, rng: np.random.Generator, replicates: int) -> _Found:
    """The rising curve nearest to the readings. Its replicates show how far it leans, and that is taken off."""
    best = fit_rising(steps.x, steps.y, full_below)
    expected = np.interp(steps.x, best.grid, best.drawn)
    levels = len(np.unique(np.round(expected, 6)))
    size, dof = _noise(float(np.sum((steps.y - expected) ** 2)), max(0, len(steps.x) - levels))
    again = expected + _draws(rng, size, dof, (replicates, len(steps.x)))
    fits: list[Rising] = [fit_rising(steps.x, row, full_below) for row in again]
    points = np.array([fit.points for fit in fits])
    leaning = np.nanmedian(points, axis=0) - np.array(best.points)
    ht, hs, full = (float(v) for v in np.array(best.points) - leaning)
    points = points - 2 * leaning
    nets = np.array([fit.d_net for fit in fits])
    every = slice(None, None, 4)
    return _Found(
        "monotone", (ht, hs, full), (points[:, 0], points[:, 1], points[:, 2]), best.d_net, nets,
        best.d_min, size, best.grid[every], best.drawn[every],
        ("the steps do not follow an S-curve: a curve that only rises was laid through them",),
    )


def _noise(rss: float, dof: int) -> tuple[float, float]:
    """Standard deviation of a reading, and its degrees of freedom, with what is expected of readings beforehand."""
    together = max(0, dof) + READING_WORTH
    return math.sqrt((rss + READING_WORTH * READING_U**2) / together), float(together)


def _draws(rng: np.random.Generator, size: float, dof: float, shape: tuple[int, int]) -> FloatArray:
    """Noise for replicates, each row of a size that the data leave open; so small prints get wide intervals."""
    sizes = size * np.sqrt(dof / rng.chisquare(dof, shape[0]))
    return np.asarray(rng.normal(size=shape) * sizes[:, None])


def _check_full(found: _Found, steps: Steps) -> None:
    """An S-curve tells where it levels out; a curve that only rises ends at its last step, whatever comes beyond."""
    full = found.best[2]
    beyond = int(np.sum(steps.x >= full)) if math.isfinite(full) else 0
    if beyond < (2 if found.how == "monotone" else 1):
        raise Refusal(
            "no step reaches full tone: the print got too little; double the dose and print again, until at least "
            "two steps look equally deep"
        )
    if full < steps.x[0]:
        raise Refusal("every step read is beyond full tone: expose less, or print through a tablet with thicker steps")


def _told(steps: Steps, found: _Found, dose_off: FloatArray, base: float | None) -> WedgeReading:
    ht, hs, full = found.best
    hts, hss, fulls = found.samples
    notes = list(found.notes)
    threshold = range_r = contrast = scale = None
    if math.isfinite(ht) and ht < hs and (base is not None or ht >= steps.x[0] - REACH_BEYOND):
        threshold = Estimate.from_samples(hts + dose_off, ht)
        range_r = Estimate.from_samples(100 * (hss - hts), 100 * (hs - ht))
        scale = Estimate.from_samples(fulls - hts, full - ht)
        gradients = (SHOULDER_SHARE * found.nets - THRESHOLD_NET) / (hss - hts)
        contrast = Estimate.from_samples(gradients, (SHOULDER_SHARE * found.d_net - THRESHOLD_NET) / (hs - ht))
    else:
        notes.append("no step is bare paper: where tone begins is not known; read thicker steps, or the bare paper")
    if np.sum(steps.x > full) < 2:
        notes.append("only one step lies beyond full tone: a print with half a stop more would tell better")
    edge = Estimate.from_samples(fulls + dose_off, full)
    if edge.half_stops > USELESS_STOPS:
        raise Refusal(
            "the readings agree on no curve, so that full tone is not known within two stops: check their order, read "
            "every step again, or print again"
        )
    if edge.half_stops > UNSURE_STOPS:
        notes.append(f"full tone is known to {edge.half_stops:.1f} stops only: read every step again, or print again")
    return WedgeReading(
        edge, threshold, Estimate.from_samples(hss + dose_off, hs),
        range_r, contrast, scale, found.d_min, found.d_min + found.d_net, found.noise, found.how,
        tuple(found.grid.tolist()), tuple(found.drawn.tolist()), tuple(sorted(steps.left_out)), tuple(notes),
    )
