"""Simulated printers: true curves known exactly, prints of a step tablet read with the faults that readings have."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from support.curves import points_of, x_at

from uvdose.calibrate.curve import SCurve
from uvdose.calibrate.tablet import even


class Picks(NamedTuple):
    """Numbers of the last steps that print full tone, and any tone; step 1 is the thinnest."""

    full: int
    tone: int


@dataclass(frozen=True)
class Print:
    """One print. x: log10 doses as the printer believes them. full, ht: the truth, in the same log10 dose."""

    kind: str
    x: tuple[float, ...]
    densities: tuple[float | None, ...]
    dose_u: float
    full: float
    ht: float
    picks: Picks | None


def printed(seed: int, kind: str = "even") -> Print:
    """A case. kind: even (S-curves), lopsided (toe and shoulder differ), bent (no S-curve at all), reversed
    (solarised beyond the deepest).

    Curve: base .03-.12, net 1.1-1.8, k 1.2-3.5. The print gets 1 to 8 times the dose for full tone through step 1 of
    a tablet of 21 half-stop or 31 third-stop steps, so that full tone lies on the tablet. The dose is known to 1 or
    2 %. Each reading strays by .01-.03 (one size for a print); in a third of the prints one step is misread, by
    .15-.40 either way or swapped with its neighbour; one in ten steps is not read in a fifth of the prints. The eye
    sees full tone end .05 under the deepest, give or take a fifth of that, and names a neighbour in 8 % of the picks.
    """
    rng = np.random.default_rng((seed, {"even": 0, "lopsided": 1, "bent": 2, "reversed": 3}[kind]))
    tablet = even() if rng.random() < 0.7 else even(31, 0.10)
    base, net, k = rng.uniform(0.03, 0.12), rng.uniform(1.1, 1.8), rng.uniform(1.2, 3.5)
    skew = float(np.exp(rng.choice([-1, 1]) * rng.uniform(0.3, 0.9))) if kind == "lopsided" else 1.0
    shape = SCurve(base, net, k, 0.0, skew)
    points = points_of(shape)
    dose_u = float(rng.choice([0.01, 0.02]))
    top = points.full + math.log10(rng.uniform(1.15, 8))
    x = np.array([top - (d - tablet.densities[0]) for d in tablet.densities])
    true_x = x + rng.normal(0, dose_u / math.log(10))

    def curve(at: np.ndarray) -> np.ndarray:
        d = shape.density(at)
        if kind == "bent":
            d = d + 0.10 * net * np.sin(2 * math.pi * np.clip((at - points.ht) / (points.hs - points.ht), 0, 1))
        return d

    full, ht = points.full, points.ht
    if kind == "bent":
        grid = np.linspace(points.ht - 0.5, points.full + 0.5, 20001)
        drawn = np.maximum.accumulate(curve(grid))
        ht = float(grid[np.searchsorted(drawn, base + 0.04)])
    loss = rng.uniform(0.3, 1.0) if kind == "reversed" else 0.0
    deepest = shape.d_max
    d = curve(true_x) - np.maximum(0, true_x - (points.full + 0.15)) * loss
    if loss:
        grid = np.linspace(points.full - 1, points.full + 2, 30001)
        drawn = curve(grid) - np.maximum(0, grid - (points.full + 0.15)) * loss
        deepest = float(drawn.max())
        full = float(grid[np.searchsorted(np.maximum.accumulate(drawn), drawn.max() - 0.05)])
    noise = rng.uniform(0.01, 0.03)
    read = d + rng.normal(0, noise, len(d))
    if rng.random() < 1 / 3:
        at = int(rng.integers(0, len(d) - 1))
        if rng.random() < 0.3:
            read[[at, at + 1]] = read[[at + 1, at]]
        else:
            read[at] += rng.choice([-1, 1]) * rng.uniform(0.15, 0.40)
    skip = rng.random(len(d)) < (0.1 if rng.random() < 0.2 else 0.0)
    densities = tuple(None if s else round(float(v), 3) for s, v in zip(skip, read, strict=True))
    shift = float(true_x[0] - x[0])
    picks = _picked(rng, shape, deepest, true_x)
    return Print(kind, tuple(x.tolist()), densities, dose_u, full - shift, ht - shift, picks)


def _picked(rng: np.random.Generator, shape: SCurve, deepest: float, true_x: np.ndarray) -> Picks | None:
    """What an eye names; None where not even step 1 looks full."""
    judged = x_at(shape, deepest - 0.05 * math.exp(rng.normal(0, 0.2)))
    toned = x_at(shape, shape.d_min + 0.04 * math.exp(rng.normal(0, 0.2)))
    full, tone = int(np.sum(true_x >= judged)), int(np.sum(true_x >= toned))
    full, tone = (n + int(rng.choice([-1, 0, 1], p=[0.04, 0.92, 0.04])) for n in (full, tone))
    if not 1 <= full < len(true_x):
        return None
    return Picks(full, max(full, min(tone, len(true_x))))
