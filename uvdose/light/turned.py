"""How far a sensor leans, from turning it: read, turned by half a turn on the spot, and read again as it lay at first.

Turned by half a turn, what leaned toward the sun leans away from it; the light between the two readings tells by how
much, along the line to the sun alone: a lean across that line shows when the sun has gone round. A sensor that faces
the sun reads the same either way, so there a turn tells nothing.
"""

from __future__ import annotations

import math
from functools import lru_cache

import msgspec
import numpy as np

from .arrays import FloatArray
from .bands import Band
from .level import FLAT, Housing, tipped
from .plane import Plane

MOST_DEG = 40.0
# The sky may have changed by this between the two readings in one place; beyond, the turn is lost in it.
MOST_SKY = 0.03
# Less than so much light in ten degrees, and no turn tells a lean.
_LEAST_LN = 0.05


class Stretch(msgspec.Struct, frozen=True):
    """What was read in one position, the zero taken off: mean light, and the standard uncertainty of that mean."""

    mean: float
    u: float


class Lean(msgspec.Struct, frozen=True):
    """How far the sensor leans toward the sun, as it lay at first: degrees, below 0 away from it; low, high hold it in
    95 %. over: what that makes it read too much, as a share. sky: by what share the light in the first position changed
    from the first reading to the last. steady: little enough for the turn to say anything."""

    degrees: float
    low: float
    high: float
    over: float
    sky: float
    steady: bool


def lean(
    first: Stretch, turned: Stretch, again: Stretch, air_mass: float, frame: Plane, *, housing: Housing = FLAT,
    band: Band | None = None, sun_azimuth_deg: float | None = None,
) -> Lean:
    """How far it leans, from three readings at even distances in time, whose straight drift is taken out.

    Raises `ValueError` for light that is not above 0, for a frame that faces the sun, and for a turn that no lean of
    up to 40 degrees explains.
    """
    if not min(first.mean, turned.mean, again.mean) > 0:
        raise ValueError("there is too little light to tell")

    leans, turns = _turns(air_mass, frame, housing, band, sun_azimuth_deg)
    if np.interp(10.0, leans, turns) < _LEAST_LN:
        raise ValueError("a sensor that faces the sun reads the same whichever way it leans: a turn tells nothing")
    sky = math.log(again.mean / first.mean)
    ln_ratio = (math.log(first.mean) + math.log(again.mean)) / 2 - math.log(turned.mean)
    # The straight part of the sky's change is out; what bends lies within half of it, taken as a rectangle (GUM 4.3.7).
    u = math.sqrt(
        (first.u / first.mean / 2) ** 2 + (again.u / again.mean / 2) ** 2 + (turned.u / turned.mean) ** 2
        + (sky / 2) ** 2 / 3
    )
    if abs(ln_ratio) > turns[-1]:
        raise ValueError("no lean makes so much of a turn: something else has changed the light")
    best, low, high = (float(np.interp(ln_ratio + way * u, turns, leans)) for way in (0.0, -2.0, 2.0))
    over = tipped(air_mass, frame, abs(best), 0.0 if best >= 0 else 180.0, housing=housing, band=band,
                  sun_azimuth_deg=sun_azimuth_deg).over  # fmt: skip
    return Lean(best, low, high, over, math.expm1(sky), abs(math.expm1(sky)) <= MOST_SKY)


@lru_cache(maxsize=16)
def _turns(
    air_mass: float, frame: Plane, housing: Housing, band: Band | None, sun_azimuth_deg: float | None
) -> tuple[FloatArray, FloatArray]:
    """Leans from -40 to 40 degrees, and what half a turn then takes from the light, as a natural logarithm."""
    leans = np.arange(0.0, MOST_DEG + 1)
    over = [
        [1 + tipped(air_mass, frame, float(lean), way, housing=housing, band=band, sun_azimuth_deg=sun_azimuth_deg).over
         for lean in leans]
        for way in (0.0, 180.0)
    ]  # fmt: skip
    # As far as it grows: a sensor that leans past the sun reads less again.
    turns = np.log(np.maximum(over[0], 1e-9)) - np.log(np.maximum(over[1], 1e-9))
    grows = len(leans) if np.all(np.diff(turns) > 0) else int(np.argmin(np.diff(turns) > 0)) + 1
    turns, leans = turns[:grows], leans[:grows]
    return np.concatenate([-leans[:0:-1], leans]), np.concatenate([-turns[:0:-1], turns])
