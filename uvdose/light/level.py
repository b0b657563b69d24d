"""What a sensor costs that lies tipped against its frame, or whose housing does not see the sky as the frame does.

A sensor's reading here is the beam and the sky around the sun through its housing, the even sky and the ground each
from all directions that it sees. Above zero it reads too much: the call comes early, the print too light.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

import msgspec
import numpy as np

from .airmass import zenith_of
from .arrays import FloatArray, cosd, sind
from .bands import Band, flat_integral
from .clearsky import STANDARD, Atmosphere, Spectrum, spectrum
from .plane import Plane
from .uv import UV_NM

_RINGS, _TURNS = 90, 180
Sky = Literal["circumsolar", "isotropic"]


class Housing(msgspec.Struct, frozen=True):
    """How a sensor answers to light from the side: as the cosine to this power. 1 is a good diffuser, as a frame is."""

    power: float = 1.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.power <= 1000.0:
            raise ValueError("housing: give a power of the cosine from 0 to 1000; 1 is a good diffuser")

    @classmethod
    def from_half_angle(cls, off_axis_deg: float) -> Housing:
        """From the angle off its axis at which a data sheet says that half is left, above 0 and below 90 degrees.

        A "viewing angle" of 130 degrees is 65 to either side.
        """
        if not 0.0 < off_axis_deg < 90.0:
            raise ValueError("half angle: give degrees above 0 and below 90, off the axis")
        return cls(math.log(0.5) / math.log(math.cos(math.radians(off_axis_deg))))


FLAT = Housing()


class Tip(msgspec.Struct, frozen=True):
    """What a tipped sensor reads too much, as a share of what it would read in line with its frame, and in stops."""

    over: float
    stops: float


def tipped(
    air_mass: float,
    frame: Plane,
    tipped_deg: float,
    direction_deg: float = 0.0,
    *,
    housing: Housing = FLAT,
    band: Band | None = None,
    atmosphere: Atmosphere = STANDARD,
    sun_azimuth_deg: float | None = None,
    sky: Sky = "circumsolar",
) -> Tip:
    """A sensor that is tipped against its frame by tipped_deg, 0 to 90.

    direction_deg: 0 tips its face toward the sun (upwards, where the frame faces the sun already), 180 away from it.
    band: without one all light from 300 to 400 nm. Raises `ValueError` for an angle out of range.
    """
    if not 0.0 <= tipped_deg <= 90.0:
        raise ValueError("tipped: give degrees from 0 to 90")
    zenith = float(zenith_of(air_mass))
    light = spectrum(zenith, atmosphere)
    sun = np.array([sind(zenith), 0.0, cosd(zenith)])
    straight = _normal(frame, zenith, sun_azimuth_deg)
    leaning = _rotated(straight, sun, tipped_deg, direction_deg)
    in_line = _reading(light, straight, sun, housing, band, frame.shade, sky)
    off = _reading(light, leaning, sun, housing, band, frame.shade, sky)
    return Tip(off / in_line - 1, math.log2(off / in_line) if off > 0 else -math.inf)


def _normal(frame: Plane, zenith_deg: float, sun_azimuth_deg: float | None) -> FloatArray:
    """What stands square on the frame, in axes toward the sun's side, to its left, and up."""
    tilt = zenith_deg if frame.toward_sun else frame.tilt_deg
    aside = 0.0
    if not frame.toward_sun and frame.azimuth_deg is not None:
        if sun_azimuth_deg is None:
            raise ValueError("a plane with an azimuth needs the sun's azimuth")
        aside = frame.azimuth_deg - sun_azimuth_deg
    return np.array([sind(tilt) * cosd(aside), sind(tilt) * sind(aside), cosd(tilt)])


def _rotated(normal: FloatArray, sun: FloatArray, by_deg: float, direction_deg: float) -> FloatArray:
    for aim in (sun, np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])):
        along = aim - normal * float(aim @ normal)
        if float(along @ along) > 1e-12:
            break
    along = along / math.sqrt(float(along @ along))
    across = np.cross(normal, along)
    way = along * cosd(direction_deg) + across * sind(direction_deg)
    return np.asarray(normal * cosd(by_deg) + way * sind(by_deg))


def _reading(
    light: Spectrum, normal: FloatArray, sun: FloatArray, housing: Housing, band: Band | None, shade: bool, sky: Sky
) -> float:
    toward = max(float(normal @ sun), 0.0) ** housing.power
    tilt = round(math.degrees(math.acos(min(1.0, max(-1.0, float(normal[2]))))), 6)
    seen_sky, seen_ground = _views(tilt, housing.power)
    level = light.cos_zenith[..., None]
    share = light.transmitted if sky == "circumsolar" else np.zeros_like(light.transmitted)
    around = light.diffuse * share / level
    total = (
        (light.direct * (0.0 if shade else 1.0) + around) * toward
        + light.diffuse * (1 - share) * seen_sky
        + (light.direct * level + light.diffuse) * light.albedo[..., None] * seen_ground
    )
    return float(band.integral(total) if band else flat_integral(total, *UV_NM))


@lru_cache(maxsize=256)
def _views(tilt_deg: float, power: float) -> tuple[float, float]:
    """How much of an even sky, and of the ground, a housing takes in: 1 and 0 for a level face of power 1."""
    # Midpoints around the face's own axis, even in the square of the sine, so that power 1 needs no weights.
    sine = np.sqrt((np.arange(_RINGS) + 0.5) / _RINGS)[:, None]
    cosine = np.sqrt(1 - sine**2)
    turn = (2 * np.pi * (np.arange(_TURNS) + 0.5) / _TURNS)[None, :]
    height = cosine * cosd(tilt_deg) + sine * np.cos(turn) * sind(tilt_deg)
    weight = np.broadcast_to(cosine ** (power - 1), height.shape) / (_RINGS * _TURNS)
    above = height > 0
    return float(weight[above].sum()), float(weight[~above].sum())
