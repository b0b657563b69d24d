"""Points of an S-curve in closed form: what is fitted is held against them.

The inverse of D = d_min + d_net / (1 + 10^(-k (x - x0)))^skew. HT, HS: ISO 6846:1992 (base + 0.04, 0.90 of the net
density); full tone: 0.05 below the deepest, as the project has it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from uvdose.calibrate.curve import SCurve


class Points(NamedTuple):
    """Log10 doses."""

    ht: float
    hs: float
    full: float

    @property
    def range_r(self) -> float:
        """R = 100 (HS - HT)."""
        return 100 * (self.hs - self.ht)


def x_at(curve: SCurve, density: float) -> float:
    """Log10 dose that prints a density, one that lies on the curve."""
    share = (density - curve.d_min) / curve.d_net
    return curve.x0 - math.log10(share ** (-1 / curve.skew) - 1) / curve.k


def points_of(curve: SCurve) -> Points:
    """The points of a curve that has them."""
    reached = (curve.d_min + 0.04, curve.d_min + 0.9 * curve.d_net, curve.d_max - 0.05)
    return Points(*(x_at(curve, density) for density in reached))
