"""The steps of a print that can be used: sorted by dose, with misread and reversing ones left out, or a refusal."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from ..model import Refusal
from .curve import THRESHOLD_NET, fit_many
from .estimate import FloatArray

LEAST_READ = 5
LEAST_RISE = 0.15
"""Steps that differ by less than this, in density, are one tone to any use."""
FULL_LEVEL = 0.6
"""Where all steps show one tone: above this density it is full tone, below it the paper."""
MOST_BASE = 0.2
FALLING = -0.3
"""Correlation of dose and density below which the steps were read from the wrong end, or all lie beyond reversal."""
MISREAD_SCALES, LEAST_MISREAD = 4.0, 0.06
"""A step is misread when it lies further from the curve than four of the residuals' scales, and than this at least."""
REVERSING = 0.06

LeftOut = tuple[int, str]


class Steps(msgspec.Struct, frozen=True):
    """x: log10 doses, rising. y: densities. at: where each was in what was given. left_out: (that place, why).

    reverses: the print gets lighter again beyond its last usable step.
    """

    x: FloatArray
    y: FloatArray
    at: tuple[int, ...]
    left_out: tuple[LeftOut, ...] = ()
    reverses: bool = False

    def without(self, out: dict[int, str], reverses: bool | None = None) -> Steps:
        """Without some steps (place in this order -> why)."""
        keep = [i for i in range(len(self.x)) if i not in out]
        named = tuple((self.at[i], why) for i, why in out.items())
        left_out = self.left_out + named
        reverses = self.reverses if reverses is None else reverses
        return Steps(self.x[keep], self.y[keep], tuple(self.at[i] for i in keep), left_out, reverses)


def take_steps(x: Sequence[float], densities: Sequence[float | None]) -> Steps:
    """The usable steps of a print. Raises `Refusal` with what to do next where there are too few."""
    if len(x) != len(densities):
        raise Refusal(f"{len(densities)} densities for {len(x)} steps: give one for each step, - for one not read", 2)
    read = sorted((float(dose), float(d), i) for i, (dose, d) in enumerate(zip(x, densities, strict=True))
                  if d is not None)
    if not all(math.isfinite(dose) and math.isfinite(d) for dose, d, _ in read):
        raise Refusal("a dose or a density is not a number: read the step again, or give - for a step not read", 2)
    steps = Steps(np.array([r[0] for r in read]), np.array([r[1] for r in read]), tuple(r[2] for r in read))
    different = len(np.unique(steps.x))
    if different < LEAST_READ:
        raise Refusal(f"{different} steps of different dose read: read at least {LEAST_READ} that show tone")
    _check_print(steps)
    reversing = _reversing(steps)
    if len(steps.x) - len(reversing) < LEAST_READ:
        raise Refusal("most steps have turned lighter from too much light: print again with a quarter of the dose")
    steps = steps.without(reversing, len(reversing) >= 2)
    return steps.without(_misread(steps))


def _check_print(steps: Steps) -> None:
    smooth = medians(steps.y)
    low, high = float(smooth.min()), float(smooth.max())
    if high - low < LEAST_RISE:
        if (high + low) / 2 > FULL_LEVEL:
            raise Refusal("all steps print full tone: expose less, or print through a tablet with thicker steps")
        raise Refusal("no step shows tone: check coating and frame, then print again with four times the dose")
    if float(np.corrcoef(steps.x, steps.y)[0, 1]) < FALLING:
        raise Refusal(
            "densities fall as the dose rises: give the readings from step 1, the thinnest, on; or print again with a "
            "quarter of the dose if the deep steps have turned lighter"
        )
    toned = int(np.sum(steps.y > min(low, MOST_BASE) + THRESHOLD_NET))
    if toned < LEAST_READ:
        raise Refusal(
            f"{toned} steps show tone, {LEAST_READ} are needed: the print got too little, double the dose; "
            "or use a tablet of finer steps"
        )


def medians(y: FloatArray) -> FloatArray:
    """Running medians of three: one misread step does not show in them. The ends are those next to them, or nearer."""
    inner = np.median(np.stack((y[:-2], y[1:-1], y[2:])), axis=0)
    return np.concatenate((inner[:1], inner, inner[-1:]))


def _reversing(steps: Steps) -> dict[int, str]:
    """Steps at the strong end whose density falls back (solarised), as far as no step returns to the deepest."""
    smooth = medians(steps.y)
    peak = int(np.argmax(smooth))
    first = len(steps.y)
    while first - 1 > peak and steps.y[first - 1] < smooth[peak] - REVERSING:
        first -= 1
    if first == len(steps.y):
        return {}
    begin = first
    if len(steps.y) - first >= 2:
        while begin - 1 > peak and steps.y[begin - 1] < smooth[peak] - REVERSING / 3:
            begin -= 1
    return {i: "density falls back here, beyond the deepest: reversed by too much light, or misread"
            for i in range(begin, len(steps.y))}


def _misread(steps: Steps) -> dict[int, str]:
    """Steps far off a curve that the others agree on. Three beside each other are a shape, not a mistake."""
    count = len(steps.x)
    if count <= LEAST_READ:
        return {}
    fits = fit_many(steps.x, steps.y, skewed=count >= 9, tol=1e-3)
    expected = fits.curve().density(steps.x)
    off = steps.y - expected
    limit = max(MISREAD_SCALES * float(fits.scale[0]), LEAST_MISREAD)
    far = [i for i in range(count) if abs(off[i]) > limit]
    together = any(i + 1 in far and i + 2 in far for i in far)
    if together or len(far) > count // 4 or count - len(far) < LEAST_READ:
        return {}
    found = {}
    for i in far:
        side = "above" if off[i] > 0 else "below"
        found[i] = f"reads {abs(off[i]):.2f} {side} the curve of the others: read it again"
        for other in (i - 1, i + 1):
            if other in far and abs(steps.y[i] - expected[other]) < limit and abs(steps.y[other] - expected[i]) < limit:
                found[i] = f"looks swapped with step {steps.at[other] + 1}"
    return found
