"""Uncertainty of a dose, in the manner of the GUM: stated parts, combined in quadrature, with a 95 % interval.

Source: JCGM 100:2008 (GUM), 5.1.2 for independent parts, G.4.1 for the effective degrees of freedom.
"""

from __future__ import annotations

import math

import msgspec

Z95 = 1.959964
Z99 = 2.575829
MANY = 1e30  # more degrees of freedom add nothing to a float, and their cube is none


class Part(msgspec.Struct, frozen=True):
    """One source of uncertainty. u: standard uncertainty, in the unit of the result. dof: degrees of freedom."""

    name: str
    u: float
    dof: float = math.inf


def combine(parts: list[Part]) -> tuple[float, float]:
    """Combined standard uncertainty of independent parts, and its degrees of freedom (Welch-Satterthwaite)."""
    u2 = sum(p.u * p.u for p in parts)
    if u2 == 0:
        return 0.0, math.inf
    weight = sum(p.u**4 / p.dof for p in parts)
    return math.sqrt(u2), (u2 * u2 / weight if weight > 0 else math.inf)


def coverage_factor(dof: float, z: float = Z95) -> float:
    """Quantile of Student's t for the two-sided probability whose normal quantile is z.

    Cornish-Fisher expansion to the third order, right to 0.3 % from 4 degrees of freedom on; fewer count as 4.
    Source: Abramowitz & Stegun 26.7.5.
    """
    if dof > MANY:
        return z
    n = max(4.0, dof)
    z2 = z * z
    return z * (
        1
        + (z2 + 1) / (4 * n)
        + (5 * z2 * z2 + 16 * z2 + 3) / (96 * n**2)
        + (3 * z2**3 + 19 * z2 * z2 + 17 * z2 - 15) / (384 * n**3)
    )
