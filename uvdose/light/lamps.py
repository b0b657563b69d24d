"""Lamps: whether one is warm, how fast it ages, what distance does. Closed forms and least squares; no clock.

The irradiances are in any unit, as long as it is one sensor's, in one place.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from .arrays import FloatArray

DAYS_PER_YEAR = 365.25
# Student's t, two-sided 95 %, for 1 to 10 degrees of freedom; then by the expansion of Fisher and Cornish.
_T95 = (12.7062, 4.3027, 3.1824, 2.7764, 2.5706, 2.4469, 2.3646, 2.3060, 2.2622, 2.2281)


class WarmUp(msgspec.Struct, frozen=True):
    """How far a lamp has come. steady: None where there is too little to tell. change: of the light over the window
    that was looked at, relative, with change_low and change_high around it (95 %). settles_in_s: when the change will
    be small enough, if the lamp goes on as an exponential does; None where it is steady or no such end is in sight."""

    steady: bool | None
    change: float
    change_low: float
    change_high: float
    settles_in_s: float | None


def warm_up(
    at_s: Sequence[float], irradiance: Sequence[float], *, window_s: float = 120.0, within: float = 0.02
) -> WarmUp:
    """Whether a lamp is steady: over the last window_s its light surely changed by less than `within` (relative).

    At least six readings over four fifths of the window are needed. Times must rise; raises `ValueError` otherwise.
    """
    times, light = _pairs(at_s, irradiance)
    late = times >= times[-1] - window_s
    t, e = times[late], light[late]
    mean = float(e.mean())
    if len(t) < 6 or t[-1] - t[0] < 0.8 * window_s or mean <= 0:
        return WarmUp(None, 0.0, -math.inf, math.inf, None)
    slope, slope_u, _ = _line(t, e)
    change, wide = slope * window_s / mean, t95(len(t) - 2) * slope_u * window_s / mean
    steady = abs(change) + wide < within
    left = None if steady else _settles_in(t, e, window_s, within)
    return WarmUp(steady, change, change - wide, change + wide, left)


def _settles_in(t: FloatArray, e: FloatArray, window_s: float, within: float) -> float | None:
    """The exponential through the means of three equal parts: their two differences tell its pace."""
    step = (t[-1] - t[0]) / 3
    means = [float(e[(t >= t[0] + k * step) & (t < t[0] + (k + 1) * step)].mean()) for k in range(3)]
    first, second = means[1] - means[0], means[2] - means[1]
    # A straight drift has no end in sight, and noise makes one of it that bends by some per cent.
    if first == 0 or not 0.0 < second / first < 0.9:
        return None
    pace = step / -math.log(second / first)
    end = means[2] + second * (second / first) / (1 - second / first)
    # The change over the window that ends now; from here on it shrinks as exp(-t / pace).
    reach = math.exp(-(t[-1] - (t[0] + 2.5 * step)) / pace)
    now = abs(means[2] - end) * reach * (math.exp(window_s / pace) - 1) / abs(end)
    return max(0.0, pace * math.log(now / within)) if now > 0 else 0.0


class Ageing(msgspec.Struct, frozen=True):
    """What a lamp loses. per_year: share of its light lost in a year, below 0 where it grows; low and high hold it in
    95 %. loses_tenth_days: days from the first reading until a tenth is gone, None where it does not lose."""

    per_year: float
    low: float
    high: float
    loses_tenth_days: float | None


def ageing(days: Sequence[float], irradiance: Sequence[float]) -> Ageing:
    """The trend of a lamp's light over its days, as an exponential: a straight line through the logarithms.

    Days of burning tell more than days of the calendar, where they are known; the yearly figures are then of a year of
    burning. Needs three readings above 0, each later than the one before; raises `ValueError` otherwise.
    """
    times, light = _pairs(days, irradiance)
    if len(times) < 3 or np.any(light <= 0):
        raise ValueError("ageing: give at least three readings above 0, on different days")
    slope, slope_u, _ = _line(times, np.log(light))
    wide = t95(len(times) - 2) * slope_u
    lost = [-math.expm1(s * DAYS_PER_YEAR) for s in (slope, slope + wide, slope - wide)]
    tenth = math.log(0.9) / slope if slope < 0 else None
    return Ageing(lost[0], lost[1], lost[2], tenth)


def distance_factor(from_m: float, to_m: float, lamp_radius_m: float = 0.0) -> float:
    """By what the light on axis changes from one distance to another: inverse square for a small lamp.

    A lamp that is a round even panel of this radius falls more slowly: R²/(R² + d²) (Lambert's disc, textbooks of
    photometry); at ten radii the two differ by 1 %. Raises `ValueError` for a distance that is not above 0.
    """
    if not (from_m > 0 and to_m > 0 and lamp_radius_m >= 0):
        raise ValueError("distance: give metres above 0")
    return (lamp_radius_m**2 + from_m**2) / (lamp_radius_m**2 + to_m**2)


def t95(freedom: int) -> float:
    """Student's t that holds 95 % to both sides, for 1 degree of freedom and more. Raises `ValueError` for fewer."""
    if freedom < 1:
        raise ValueError("degrees of freedom: at least 1")
    if freedom <= len(_T95):
        return _T95[freedom - 1]
    z = 1.959964
    first, second = (z**3 + z) / 4, (5 * z**5 + 16 * z**3 + 3 * z) / 96
    return z + first / freedom + second / freedom**2


def _pairs(at: Sequence[float], values: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    times, light = np.asarray(at, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if len(times) != len(light) or len(times) == 0 or np.any(np.diff(times) <= 0) or not np.all(np.isfinite(light)):
        raise ValueError("give as many times as readings, each time later than the one before")
    return times, light


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float, float]:
    """Slope of the least-squares line, its standard uncertainty, and the height at the middle of x."""
    middle = x - x.mean()
    square = float(middle @ middle)
    slope = float(middle @ y) / square
    left = y - y.mean() - slope * middle
    return slope, math.sqrt(float(left @ left) / max(1, len(x) - 2) / square), float(y.mean())
