"""When the sun rises, stands highest and sets, with days on which it does not.

A day here is the solar day around one noon, from midnight to midnight by the sun: it has one noon wherever the date
line runs. Found by looking each ten minutes and halving between, so that no case of the poles is a case of its own.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Literal

import msgspec
import numpy as np

from .arrays import FloatArray, Numbers
from .sun import HORIZON_DEG, position

_HALF_DAY_S = 43200.0
_STEP_S = 600.0

Always = Literal["up", "down"]


class Above(msgspec.Struct, frozen=True):
    """The stretch around noon in which the sun is above some height, within the solar day. from_utc_s, until_utc_s:
    Unix seconds, None where that end is not reached before midnight by the sun. always: "up" or "down" where neither
    is. length_s: 0 to 86,400."""

    from_utc_s: float | None
    until_utc_s: float | None
    always: Always | None
    length_s: float


class SolarDay(msgspec.Struct, frozen=True):
    """One day of the sun at one place. noon_utc_s: Unix seconds at which it stands highest. highest_deg: its height
    then, above the horizon, as seen through the air. sun: rise and set of the upper limb, at a flat horizon."""

    noon_utc_s: float
    highest_deg: float
    sun: Above


def solar_day(day: date, latitude_deg: float, longitude_deg: float, height_m: float = 0.0) -> SolarDay:
    """The solar day whose noon falls into this date by the clock of the place's longitude.

    The horizon is flat and at the height of the place: from a mountain the sun is seen a few minutes longer.
    """
    around = _middle(day, longitude_deg)
    noon = _noon(around, longitude_deg)
    highest = float(position(noon, latitude_deg, longitude_deg, height_m).elevation_deg)
    return SolarDay(noon, highest, _above(noon, latitude_deg, longitude_deg, HORIZON_DEG, geometric=True))


def _middle(day: date, longitude_deg: float) -> float:
    """Noon by the clock of a longitude, Unix seconds."""
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()
    turn = (longitude_deg + 180.0) % 360.0 - 180.0
    return midnight + _HALF_DAY_S - turn * 240.0


def _noon(around_s: float, longitude_deg: float) -> float:
    """The transit nearest to a moment: where the hour angle is 0. The sun goes round in a day to half a minute."""
    at = around_s
    for _ in range(3):
        at -= _hour_angle_deg(at, longitude_deg) * 240.0
    return at


def _hour_angle_deg(utc_s: float, longitude_deg: float) -> float:
    """Seen from the equator of the sun's longitude, east and west tell the hour angle at any latitude."""
    sun = position(utc_s, 0.0, longitude_deg)
    z, a = np.radians(sun.zenith_deg), np.radians(sun.azimuth_deg)
    return float(np.degrees(np.arctan2(-np.sin(a) * np.sin(z), np.cos(z))))


def _above(
    noon_s: float, latitude_deg: float, longitude_deg: float, limit_deg: float, height_m: float = 0.0,
    geometric: bool = False,
) -> Above:  # fmt: skip
    def over(utc_s: Numbers) -> FloatArray:
        sun = position(utc_s, latitude_deg, longitude_deg, height_m)
        return np.asarray((90.0 - sun.zenith_deg if geometric else sun.elevation_deg) - limit_deg)

    times = noon_s + np.arange(-_HALF_DAY_S, _HALF_DAY_S + 1, _STEP_S)
    # Noon itself is among the times, so that a sun that looks over the edge for minutes is not overlooked.
    up = over(times) > 0
    noon = len(times) // 2
    if up.all() or not up[noon]:
        return Above(None, None, "up" if up.all() else "down", 2 * _HALF_DAY_S if up.all() else 0.0)
    before, after = np.flatnonzero(~up[:noon]), np.flatnonzero(~up[noon:])

    def moment(low: float, rising: bool) -> float:
        high = low + _STEP_S
        while high - low > 0.05:
            middle = (low + high) / 2
            if (float(over(middle)) > 0) == rising:
                high = middle
            else:
                low = middle
        return (low + high) / 2

    start = moment(float(times[before[-1]]), True) if len(before) else None
    end = moment(float(times[noon + after[0] - 1]), False) if len(after) else None
    length = (noon_s + _HALF_DAY_S if end is None else end) - (noon_s - _HALF_DAY_S if start is None else start)
    return Above(start, end, None, length)
