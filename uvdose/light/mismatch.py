"""Whether a sensor's figure still means the same to the emulsion, when the sun has come lower or gone behind a tree.

A sensor and an emulsion weigh the wavelengths differently, and a low sun has lost more of the short ones. The factor is
the F* of CIE e-ILV 17-25-115: [light now in the emulsion's band / in the sensor's] over the same where the target was
proved. A dose that the sensor tells, times this, is the dose it would have told in the light of the proof for the same
effect on the emulsion: above 1, the print comes out too dark without it.

Ozone and haze of the day are seldom known. Then each is taken anywhere between bounds (250 to 420 DU, 0.03 to 0.4 at
500 nm), the estimate is the middle of what they make, and the half width over the square root of 3 its standard
uncertainty (JCGM 100:2008, 4.3.7). Shapes that are uncertain by a shift of their edges add theirs.
"""

from __future__ import annotations

import math
from functools import lru_cache

import msgspec
import numpy as np

from .airmass import zenith_of
from .arrays import FloatArray
from .bands import Band
from .clearsky import STANDARD, Atmosphere, spectrum
from .plane import Plane, parts_on_plane

OZONE_DU = (250.0, 320.0, 420.0)
AEROSOL_500 = (0.03, 0.1, 0.2, 0.4)
# Beyond this the model's clear sky is no longer held by anything, and light is too weak to print in.
MOST_AIR_MASS = 10.0
# How far the model's colour may be off in a change from one light to another, of the change itself (in stops).
# From ASTM G173's global to its direct light the change is 0.7 to 1.3 of what the model says (test_mismatch.py).
_MODEL_U = 0.2


class Part(msgspec.Struct, frozen=True):
    """One source of doubt: its name, and its standard uncertainty, of the natural logarithm of the factor."""

    name: str
    u_ln: float


class Mismatch(msgspec.Struct, frozen=True):
    """How a sensor's dose must be multiplied to mean the same to the emulsion. low, high: hold the truth in 95 %.

    stops: log2 of the factor, above 0 where the print comes out too dark without it.
    """

    factor: float
    low: float
    high: float
    stops: float
    parts: tuple[Part, ...]


class Light(msgspec.Struct, frozen=True):
    """One kind of light on a plane. air_mass: relative, 1 to 10; lower and higher ones are taken as these.
    sun_azimuth_deg: for a plane that looks to a compass point."""

    plane: Plane
    air_mass: float
    sun_azimuth_deg: float | None = None


def between(sensor: Band, emulsion: Band, proved: Light, now: Light, atmosphere: Atmosphere | None = None) -> Mismatch:
    """The factor between a sensor's dose and the emulsion's, from the light of the proof to that of now.

    atmosphere: the air, where it is known; then the factor is that of this air and its doubt left out. A sensor that
    lies under the emulsion's glass and film, `bands.under`, has a quarter to a half of the change less. Raises
    `ValueError` where a plane looks to a compass point and the sun's is not given.
    """
    air = atmosphere or STANDARD
    then, here = falling(proved, air), falling(now, air)
    if atmosphere is None:
        ozone, haze = (grid.ravel() for grid in np.meshgrid(OZONE_DU, AEROSOL_500))
        airs = air.with_air(ozone, haze)
        at_proof = np.log(ratio(sensor, emulsion, falling(proved, airs)))
        at_now = np.log(ratio(sensor, emulsion, falling(now, airs)))
        ln_factor = _middle(at_now) - _middle(at_proof)
        parts = [Part("air now", _half(at_now) / math.sqrt(3))]
        parts += [Part("air at the proof", _half(at_proof) / math.sqrt(3))]
    else:
        ln_factor = _ln_factor(sensor, emulsion, then, here)
        parts = []
    parts += _shapes(sensor, emulsion, then, here)
    parts.append(Part("model", _MODEL_U * abs(ln_factor)))
    if now.plane.shade != proved.plane.shade:
        shaded = now if now.plane.shade else proved
        whole, without = falling(shaded, air), falling(shaded, air, around_sun=False)
        # What hides the sun hides all, some or nothing of the sky around it: a one-sided bound, taken to both sides.
        one_sided = abs(_ln_factor(sensor, emulsion, whole, without))
        parts.append(Part("sky around the sun", one_sided / math.sqrt(3)))
    spread = 2 * math.sqrt(sum(p.u_ln**2 for p in parts))
    return Mismatch(
        math.exp(ln_factor), math.exp(ln_factor - spread), math.exp(ln_factor + spread), ln_factor / math.log(2),
        tuple(parts),
    )  # fmt: skip


def falling(light: Light, atmosphere: Atmosphere = STANDARD, around_sun: bool = True) -> FloatArray:
    """The spectrum on the plane, W/m²/nm, in one air or (before the last axis) an array of them.

    around_sun: with the part of the sky that is brightest near the sun; a wall that hides the sun hides some of it.
    """
    zenith = _zenith_deg(light.air_mass)
    sky = spectrum(zenith, atmosphere)
    beam, around, even, ground = parts_on_plane(sky, light.plane, zenith, light.sun_azimuth_deg)
    return np.asarray(beam + even + ground + (around if around_sun else 0.0))


def ratio(
    sensor: Band, emulsion: Band, spectral: FloatArray, shifts_nm: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> FloatArray:
    """Light in the emulsion's band over that in the sensor's. shifts_nm: of the edges of sensor, emulsion and cover,
    which is one and the same where both lie under it."""
    return np.asarray(
        emulsion.integral(spectral, shifts_nm[1], shifts_nm[2]) / sensor.integral(spectral, shifts_nm[0], shifts_nm[2])
    )


@lru_cache(maxsize=256)
def _zenith_deg(mass: float) -> float:
    return float(zenith_of(min(mass, MOST_AIR_MASS)))


def _ln_factor(
    sensor: Band, emulsion: Band, then: FloatArray, here: FloatArray,
    shifts_nm: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> float:  # fmt: skip
    return math.log(
        float(ratio(sensor, emulsion, here, shifts_nm)) / float(ratio(sensor, emulsion, then, shifts_nm))
    )


def _shapes(sensor: Band, emulsion: Band, then: FloatArray, here: FloatArray) -> list[Part]:
    """What a shift of each edge by its standard uncertainty makes, half of both ways together."""
    cover_u = emulsion.cover.edge_u_nm if emulsion.cover else 0.0
    edges = (
        ("sensor's shape", sensor.shape.edge_u_nm), ("emulsion's shape", emulsion.shape.edge_u_nm),
        ("glass and film", cover_u),
    )  # fmt: skip
    parts = []
    for place, (name, u_nm) in enumerate(edges):
        ends = []
        for way in (u_nm, -u_nm):
            moved = [0.0, 0.0, 0.0]
            moved[place] = way
            ends.append(_ln_factor(sensor, emulsion, then, here, (moved[0], moved[1], moved[2])))
        parts.append(Part(name, abs(ends[0] - ends[1]) / 2))
    return parts


def _middle(values: FloatArray) -> float:
    return float(values.max() + values.min()) / 2


def _half(values: FloatArray) -> float:
    return float(values.max() - values.min()) / 2
