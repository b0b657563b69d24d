"""What a bench's own light tells of its skies: how its sensor reads a clear one, and what clouds left on past days.

A clear sky is known by its steadiness: over half an hour the measured light keeps to the model within 1 %. In June 2016
at Payerne (BSRN) every such stretch lay within 8 % of the others, and none was a cloud; an even cover does not keep so.
"""

from __future__ import annotations

import math

import msgspec
import numpy as np

from .arrays import FloatArray
from .bands import Band
from .lies import COVERED
from .outlook import MINUTE_S, Course, Spot, clear_light
from .uv import UV_NM, clear_uv

DAY = 1440
STEADY_MIN, STEADY = 30, 0.01
LOWEST_DEG = 15.0
# A steady stretch so far below the others is shade, a cover or a window.
NEAR_THE_BEST = 0.15
CLEAR_DAYS = 3
# Standard uncertainty of one clear day's level for the next: Payerne, June 2016 (tests/light/test_outlook.py).
CLEAR_U = 0.03
LEAST_MINUTES = 60
SKY_DAYS = 14
# Days pass at other hours of the sun, too: each past day is also taken so many minutes earlier and later.
SHIFTS_MIN = (-60, -40, -20, 0, 20, 40, 60)
JUST_NOW_MIN = 10
LEAST_ALIKE = 6
_HIGH_SUN_DEG = 40.0  # from the zenith


class Minutes(msgspec.Struct, frozen=True):
    """A sensor's light: means of whole minutes, each labelled by its middle in Unix seconds, rising."""

    utc_s: FloatArray
    light: FloatArray


class Level(msgspec.Struct, frozen=True):
    """What the sensor says of a clear sky over what the model does. low, high: 95 %. days_utc_s: noons of the clear
    days that tell it, empty where it is the model's own."""

    factor: float
    low: float
    high: float
    days_utc_s: tuple[float, ...] = ()


class Skies(msgspec.Struct, frozen=True):
    """Past days, newest first: shares of a clear sky. rows: by minute of the mean sun's day, a row for each day, with
    the day's own mean where nothing was measured. means: of each day, weighted with the light."""

    rows: FloatArray
    means: FloatArray


NO_SKIES = Skies(np.zeros((0, DAY)), np.zeros(0))
def gather(
    spot: Spot, minutes: Minutes, band: Band | tuple[float, float] = UV_NM, absolute: bool = True
) -> tuple[Level | None, Skies]:
    """The level of a clear sky, and the skies of the last days, out of measured light.

    absolute: the sensor tells W/m², so that the model's own level can stand in where no clear sky was measured; else
    the level is None then, and no sky is known.
    """
    sun = spot.sun(minutes.utc_s)
    high = sun.elevation_deg > LOWEST_DEG
    times, light = minutes.utc_s[high], minutes.light[high]
    model = clear_light(spot, times, band)
    seen = model > 0
    times, ratio, model = times[seen], light[seen] / model[seen], model[seen]
    level = _level(spot, times, ratio)
    if level is None and not absolute:
        return None, NO_SKIES
    level = level or unmeasured(spot, band)
    return level, _skies(spot, times, ratio / level.factor, model)


def unmeasured(spot: Spot, band: Band | tuple[float, float] = UV_NM) -> Level:
    """The model's own level, with its own doubts under a high sun."""
    model = clear_uv(_HIGH_SUN_DEG, spot.plane, band, sun_azimuth_deg=spot.plane.azimuth_deg)
    whole = float(model.irradiance_w_m2)
    return Level(1.0, float(model.low_w_m2) / whole, float(model.high_w_m2) / whole)


def _level(spot: Spot, times: FloatArray, ratio: FloatArray) -> Level | None:
    if not len(times):
        return None
    _, first = np.unique(times // (STEADY_MIN * MINUTE_S), return_index=True)
    found: list[tuple[float, float]] = []
    for start, end in zip(first, np.append(first[1:], len(times)), strict=True):
        part = ratio[start:end]
        mean = float(part.mean())
        if len(part) >= STEADY_MIN * 0.9 and mean > 0 and float(part.std()) < STEADY * mean:
            found.append((float(times[start]), mean))
    if not found:
        return None
    best = float(np.quantile([mean for _, mean in found], 0.9))
    days: dict[int, list[tuple[float, float]]] = {}
    for at, mean in found:
        if mean > best * (1 - NEAR_THE_BEST):
            days.setdefault(int(spot.solar_s(at) // 86400.0), []).append((at, mean))
    newest = sorted(days, reverse=True)[:CLEAR_DAYS]
    told = [float(np.median([mean for _, mean in days[day]])) for day in newest]
    factor = float(np.median(told))
    u = max(CLEAR_U, float(np.std(told, ddof=1)) / factor if len(told) > 2 else 0.0)
    noons = tuple(float(np.median([at for at, _ in days[day]])) for day in newest)
    return Level(factor, factor * math.exp(-2 * u), factor * math.exp(2 * u), noons)


def _skies(spot: Spot, times: FloatArray, share: FloatArray, model: FloatArray) -> Skies:
    lit = share > COVERED
    times, share, model = times[lit], share[lit], model[lit]
    solar = spot.solar_s(times)
    day = (solar // 86400.0).astype(int)
    rows, means = [], []
    for number in np.unique(day)[::-1]:
        mine = day == number
        if mine.sum() < LEAST_MINUTES:
            continue
        mean = float((share[mine] * model[mine]).sum() / model[mine].sum())
        row = np.full(DAY, mean)
        row[(solar[mine] % 86400.0 // MINUTE_S).astype(int)] = share[mine]
        rows.append(row)
        means.append(mean)
        if len(rows) == SKY_DAYS:
            break
    return Skies(np.array(rows), np.array(means)) if rows else NO_SKIES


def shares_over(spot: Spot, skies: Skies, course: Course) -> FloatArray:
    """These skies laid over a course, each also somewhat earlier and later: a row for each, a column a minute."""
    minute = (spot.solar_s(course.edges_s[:-1] + MINUTE_S / 2) % 86400.0 // MINUTE_S).astype(int)
    shifted = [skies.rows[:, (minute - shift) % DAY] for shift in SHIFTS_MIN]
    return np.concatenate(shifted)


def alike(shares: FloatArray, course: Course, now_s: float, share_now: float) -> FloatArray:
    """Of these skies the third whose last minutes before now were most like what was measured just now."""
    minute = int((now_s - course.edges_s[0]) // MINUTE_S)
    before = shares[:, max(0, minute - JUST_NOW_MIN) : max(1, minute)].mean(axis=1)
    apart = np.abs(np.log(np.maximum(before, COVERED) / max(share_now, COVERED)))
    keep = np.argsort(apart, kind="stable")[: max(LEAST_ALIKE, len(shares) // 3)]
    return np.asarray(shares[keep])
