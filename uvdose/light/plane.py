"""The light on a plane: horizontal, tilted, held toward the sun, or in shade under open sky.

The sky on a tilted plane: as much of the scattered light as the beam kept through the air comes from around the sun,
the rest evenly from all over (Hay & Davies 1980, as SPECTRL2 takes it, equation 3-18), the ground sends up its share.
With an even sky in its place a sensor tipped 10 degrees costs a quarter less (tests/light/test_level.py).
"""

from __future__ import annotations

import msgspec
import numpy as np

from .arrays import FloatArray, Numbers, cosd, numbers, sind
from .clearsky import Spectrum


class Plane(msgspec.Struct, frozen=True):
    """How a frame or a sensor lies. tilt_deg: from horizontal, 0 to 90. azimuth_deg: to where its face looks down the
    slope, from north over east; None follows the sun round. toward_sun: held square to the sun, whatever tilt says.
    shade: the beam does not reach it, all of the sky does."""

    tilt_deg: float = 0.0
    azimuth_deg: float | None = None
    toward_sun: bool = False
    shade: bool = False

    def __post_init__(self) -> None:
        if not 0.0 <= self.tilt_deg <= 90.0:
            raise ValueError("tilt: give degrees from 0 (horizontal) to 90 (upright)")


HORIZONTAL = Plane()
TOWARD_SUN = Plane(toward_sun=True)
SHADE = Plane(shade=True)


def cos_incidence(plane: Plane, zenith_deg: Numbers, sun_azimuth_deg: Numbers | None = None) -> FloatArray:
    """Cosine of the angle between the sun and what stands square on the plane; 0 where the sun is behind it.

    Raises `ValueError` where the plane looks to a compass point and the sun's is not given.
    """
    zenith = numbers(zenith_deg)
    if plane.toward_sun:
        return np.ones_like(zenith)
    if plane.azimuth_deg is None:
        aside: FloatArray = np.zeros_like(zenith)
    elif sun_azimuth_deg is None:
        raise ValueError("a plane with an azimuth needs the sun's azimuth")
    else:
        aside = numbers(sun_azimuth_deg) - plane.azimuth_deg
    level = cosd(zenith) * cosd(plane.tilt_deg) + sind(zenith) * sind(plane.tilt_deg) * cosd(aside)
    return np.asarray(np.maximum(level, 0.0))


def tilt_of(plane: Plane, zenith_deg: Numbers) -> FloatArray:
    """How steep the plane stands, degrees."""
    zenith = numbers(zenith_deg)
    return zenith if plane.toward_sun else np.full_like(zenith, plane.tilt_deg)


def on_plane(
    light: Spectrum,
    plane: Plane,
    zenith_deg: Numbers,
    sun_azimuth_deg: Numbers | None = None,
) -> FloatArray:
    """Light on the plane, W/m²/nm at the wavelengths of the spectrum along the last axis."""
    beam, around, even, ground = parts_on_plane(light, plane, zenith_deg, sun_azimuth_deg)
    return np.asarray(beam + around + even + ground)


def parts_on_plane(
    light: Spectrum,
    plane: Plane,
    zenith_deg: Numbers,
    sun_azimuth_deg: Numbers | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The same in parts: the beam, the sky around the sun, the even sky, the ground. All diffuse but the first."""
    cosine = cos_incidence(plane, zenith_deg, sun_azimuth_deg)[..., None]
    slope = cosd(tilt_of(plane, zenith_deg))[..., None]
    level = light.cos_zenith[..., None]
    open_sun = 0.0 if plane.shade else 1.0
    beam = light.direct * cosine * open_sun
    around = light.diffuse * light.transmitted * cosine / level
    even = light.diffuse * (1 - light.transmitted) * (1 + slope) / 2
    ground = (light.direct * level + light.diffuse) * light.albedo[..., None] * (1 - slope) / 2
    return np.asarray(beam), np.asarray(around), np.asarray(even), np.asarray(ground)
