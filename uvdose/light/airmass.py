"""How much air the light goes through.

Sources: F. Kasten & A. T. Young 1989, Appl. Opt. 28, 4735 (from the apparent height of the sun); the standard
atmosphere of ISO 2533 for pressure by height.
"""

from __future__ import annotations

import numpy as np

from .arrays import FloatArray, Numbers, cosd, numbers

SEA_LEVEL_HPA = 1013.25


def air_mass(apparent_zenith_deg: Numbers) -> FloatArray:
    """Relative air mass: 1 for a sun overhead (0.9997 by the formula); NaN for one that is below the horizon."""
    z = numbers(apparent_zenith_deg)
    seen = np.minimum(z, 90.0)
    mass = 1.0 / (cosd(seen) + 0.50572 * (96.07995 - seen) ** -1.6364)
    return np.asarray(np.where(z <= 90.0, mass, np.nan))


def zenith_of(mass: Numbers) -> FloatArray:
    """The apparent zenith angle at which the air mass is this: the inverse of `air_mass`, 0 for 1 and below.

    Raises `ValueError` beyond 38, which is the air mass at the horizon, and for what is no number.
    """
    wanted = numbers(mass)
    if not np.all(wanted <= 37.9):
        raise ValueError("air mass: give a number from 1 (sun overhead) to 37.9 (at the horizon)")
    low, high = np.zeros_like(wanted), np.full_like(wanted, 90.0)
    for _ in range(50):
        middle = (low + high) / 2
        below = air_mass(middle) < wanted
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(np.where(wanted <= air_mass(0.0), 0.0, (low + high) / 2))


def pressure_hpa(height_m: Numbers) -> FloatArray:
    """Pressure of the standard atmosphere at a height above the sea, hPa; weather moves it by some 2 %.

    Raises `ValueError` above the 11 km up to which the formula holds.
    """
    height = numbers(height_m)
    if not np.all((height >= -1000.0) & (height <= 11000.0)):
        raise ValueError("height: give metres above the sea, from -1000 to 11000")
    return np.asarray(SEA_LEVEL_HPA * (1 - 0.0065 * height / 288.15) ** 5.25588)
