"""What an eye tells of a print without a densitometer: the last step of full tone, the last with any, the right one."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import msgspec

from ..model import Refusal
from .estimate import Estimate

JUDGE_NOISE = 0.04
"""How far an eye's limit of full tone strays, in log10 dose, standard deviation: the net 0.05 under the deepest seen a
fifth too large or too small, on a curve as steep as k = 2.2. An assumption; no measurement was found."""
SLIP = 0.1
"""How often a neighbouring step is named: a tenth of the picks, half of them on either side. An assumption likewise."""


class PicksReading(msgspec.Struct, frozen=True):
    """Log10 doses from picked steps. full: between the last full step and the next. safe: the last full step taken as
    the edge itself, as is common practice; with steps of 0.15 it over-exposes by a quarter stop on average.

    threshold: between the last step with tone and the next, None where every step shows tone or none was picked.
    exposure_scale: full - threshold, the density range that a negative should have.
    """

    full: Estimate
    safe: float
    threshold: Estimate | None
    exposure_scale: Estimate | None
    notes: tuple[str, ...]


def read_picks(
    x: Sequence[float],
    full_index: int,
    tone_index: int | None,
    judge_noise: float = JUDGE_NOISE,
    dose_u: float = 0.0,
) -> PicksReading:
    """Read a print by the steps picked on it. Indices count from 0 through x, the log10 dose of each step.

    full_index: the step with the least dose that still prints full tone. tone_index: the one with the least dose that
    shows any tone. judge_noise: how far the eye's limit strays, in log10 dose. dose_u: relative standard uncertainty
    of the dose. Raises `Refusal` where the limit lies outside the steps.
    """
    order = _order(x)
    doses = [float(x[i]) for i in order]
    full = _place(order, full_index)
    tone = None if tone_index is None else _place(order, tone_index)
    if tone is not None and tone > full:
        raise Refusal(
            f"step {full_index + 1} of full tone has less light than step {_number(tone_index)}, the last with tone: "
            "look again, full tone ends before tone does",
            2,
        )
    if full == 0:
        raise Refusal("all steps print full tone: expose less, or print through a tablet with thicker steps")
    notes: list[str] = []
    if full == len(doses) - 1:
        notes.append("only one step prints full tone: it may be less than the deepest; a stop more would show")
    edge = _between(doses, full, judge_noise, dose_u)
    threshold = scale = None
    if tone == 0:
        notes.append("every step shows tone: where it begins is not known; print through thicker steps")
    elif tone is not None:
        threshold = _between(doses, tone, judge_noise, dose_u)
        scale = _between(doses, full, judge_noise, 0).minus(_between(doses, tone, judge_noise, 0))
    return PicksReading(edge, doses[full], threshold, scale, tuple(notes))


def read_right_step(x: Sequence[float], index: int, dose_u: float = 0.0) -> Estimate:
    """Log10 dose of the step that a person calls right, and half a step to either side.

    At an end of the strip nothing beyond was seen to be worse: there the interval reaches a whole step out. The
    interval has the step's own shape, not a bell's; the dose's own uncertainty is added as the GUM adds.
    """
    order = _order(x)
    at = _place(order, index)
    doses = [float(x[i]) for i in order]
    down = (doses[at] - doses[at - 1]) / 2 if at > 0 else doses[1] - doses[0]
    up = (doses[at + 1] - doses[at]) / 2 if at + 1 < len(doses) else doses[-1] - doses[-2]
    half = 1.96 * dose_u / math.log(10)
    return Estimate(doses[at] - down, doses[at], doses[at] + up).plus(Estimate.around(0.0, half))


def target_dose(full: Estimate, film_density: Estimate | None = None) -> Estimate:
    """The dose to print through a film: 10^(full + density of its clear base), the intervals of both combined."""
    return (full if film_density is None else full.plus(film_density)).exp10()


def _between(doses: list[float], at: int, noise: float, dose_u: float) -> Estimate:
    """The limit below step `at`: anywhere between it and the next, strayed by the eye, now and then a step aside."""
    gaps = [(SLIP / 2, at - 1), (1 - SLIP, at), (SLIP / 2, at + 1)]
    parts = [(share, doses[i - 1], doses[i]) for share, i in gaps if 1 <= i < len(doses)]
    whole = sum(share for share, _, _ in parts)
    spread = math.hypot(noise, dose_u / math.log(10))

    def below(t: float) -> float:
        return sum(share * _share_below(t, low, high, spread) for share, low, high in parts) / whole

    low, high = parts[0][1] - 6 * spread, max(p[2] for p in parts) + 6 * spread
    best = (doses[at - 1] + doses[at]) / 2
    return Estimate(
        min(_quantile(below, 0.025, low, high), best), best, max(_quantile(below, 0.975, low, high), best)
    )


def _share_below(t: float, low: float, high: float, spread: float) -> float:
    """Distribution of an even spread from low to high plus normal noise."""
    if spread <= 0:
        return min(1.0, max(0.0, (t - low) / (high - low)))

    def ramp(u: float) -> float:
        z = u / spread
        return u * 0.5 * math.erfc(-z / math.sqrt(2)) + spread * math.exp(-z * z / 2) / math.sqrt(2 * math.pi)

    return (ramp(t - low) - ramp(t - high)) / (high - low)


def _quantile(below: Callable[[float], float], share: float, low: float, high: float) -> float:
    for _ in range(60):
        middle = (low + high) / 2
        if below(middle) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _order(x: Sequence[float]) -> list[int]:
    """Places of the steps from the least dose to the most."""
    if len(x) < 2 or not all(math.isfinite(v) for v in x) or len(set(x)) < len(x):
        raise Refusal("picked steps need at least two different doses: give the dose of each step", 2)
    return sorted(range(len(x)), key=lambda i: x[i])


def _place(order: list[int], index: int) -> int:
    if not 0 <= index < len(order):
        raise Refusal(f"step {index + 1}: give one from 1 to {len(order)}", 2)
    return order.index(index)


def _number(index: int | None) -> str:
    return "?" if index is None else str(index + 1)
