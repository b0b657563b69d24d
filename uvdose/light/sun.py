"""Where the sun stands, from time and place. Exact to 0.01 degree from 2000 to 2050 (measured in tests/light).

Source: J. Meeus, Astronomical Algorithms (2nd ed.), chapters 12, 13, 25 and 40, low precision, as NOAA's solar
calculator uses them; the hour angle comes from sidereal time, which NOAA shortens to an equation of time. Refraction:
the formula of Reda & Andreas, NREL/TP-560-34302, equation 42.

Time is in Unix seconds, which know no leap seconds: in the one second that is inserted, the sun stands still here.
"""

from __future__ import annotations

import msgspec
import numpy as np

from .airmass import pressure_hpa
from .arrays import FloatArray, Numbers, cosd, numbers, sind

# Terrestrial time runs ahead of UTC by 64 s in 2000, 69 s in 2020. 20 s more or less move the sun by 0.0002 degree.
_TT_MINUS_UTC_S = 69.0
_PARALLAX_DEG = 8.794 / 3600
_TEMPERATURE_C = 12.0
# The sun's upper limb at the horizon: what refraction and half its width make, as almanacs take it.
HORIZON_DEG = -0.8333


class SunPosition(msgspec.Struct, frozen=True):
    """Where the sun stands; all fields have the shape of the times that were asked for.

    zenith_deg: of the sun's middle, without refraction; apparent_zenith_deg: as seen through the air, equal to it
    where the sun is well below the horizon. azimuth_deg: from north over east, 0 to 360. distance_au.
    """

    zenith_deg: FloatArray
    apparent_zenith_deg: FloatArray
    azimuth_deg: FloatArray
    distance_au: FloatArray

    @property
    def elevation_deg(self) -> FloatArray:
        """Height above the horizon as seen through the air."""
        return np.asarray(90.0 - self.apparent_zenith_deg)


def position(
    utc_s: Numbers,
    latitude_deg: Numbers,
    longitude_deg: Numbers,
    height_m: Numbers = 0.0,
    *,
    pressure: Numbers | None = None,
    temperature_c: Numbers = _TEMPERATURE_C,
) -> SunPosition:
    """The sun at Unix seconds, seen from a place: north and east are positive, any longitude is taken round.

    pressure: hPa, for refraction; without it that of the height. Raises `ValueError` for a latitude beyond the poles.
    """
    latitude = numbers(latitude_deg)
    if not np.all(np.abs(latitude) <= 90.0):
        raise ValueError("latitude: give degrees from -90 to 90, north positive")
    days = numbers(utc_s) / 86400.0 + 2440587.5 - 2451545.0
    ascension, declination, distance, equinoxes = _ephemeris((days + _TT_MINUS_UTC_S / 86400.0) / 36525.0)
    centuries = days / 36525.0
    sidereal = 280.46061837 + 360.98564736629 * days + 0.000387933 * centuries**2 + equinoxes
    hour = np.remainder(sidereal + numbers(longitude_deg) - ascension + 180.0, 360.0) - 180.0

    up = sind(latitude) * sind(declination) + cosd(latitude) * cosd(declination) * cosd(hour)
    north = cosd(latitude) * sind(declination) - sind(latitude) * cosd(declination) * cosd(hour)
    east = -cosd(declination) * sind(hour)
    zenith = np.degrees(np.arctan2(np.hypot(north, east), up))
    zenith = np.asarray(zenith + _PARALLAX_DEG / distance * sind(zenith))
    azimuth = np.asarray(np.remainder(np.degrees(np.arctan2(east, north)), 360.0))
    air = pressure_hpa(height_m) if pressure is None else numbers(pressure)
    apparent = np.asarray(zenith - refraction_deg(90.0 - zenith, air, temperature_c))
    return SunPosition(zenith, apparent, azimuth, np.broadcast_to(distance, zenith.shape))


def refraction_deg(elevation_deg: Numbers, pressure: Numbers = 1013.25, temperature_c: Numbers = 12.0) -> FloatArray:
    """By how much the air lifts the sun, degrees; 0 where it is more than its own width below the horizon.

    pressure: hPa. Source: equation 42 of NREL/TP-560-34302.
    """
    e = numbers(elevation_deg)
    seen = np.maximum(e, HORIZON_DEG)
    lift = (
        numbers(pressure) / 1010.0 * 283.0 / (273.0 + numbers(temperature_c))
        * 1.02 / (60.0 * np.tan(np.radians(seen + 10.3 / (seen + 5.11))))
    )  # fmt: skip
    return np.asarray(np.where(e >= HORIZON_DEG, lift, 0.0))


def _ephemeris(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Right ascension and declination (degrees), distance (au), equation of the equinoxes (degrees), at Julian
    centuries of terrestrial time since 2000. Meeus, chapter 25, low precision."""
    mean_longitude = 280.46646 + t * (36000.76983 + 0.0003032 * t)
    anomaly = 357.52911 + t * (35999.05029 - 0.0001537 * t)
    eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t)
    centre = (
        sind(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
        + sind(2 * anomaly) * (0.019993 - 0.000101 * t)
        + sind(3 * anomaly) * 0.000289
    )
    node = 125.04 - 1934.136 * t
    longitude = mean_longitude + centre - 0.00569 - 0.00478 * sind(node)
    obliquity = 23.4392911 - t * (0.0130042 + t * (1.64e-7 - t * 5.04e-7)) + 0.00256 * cosd(node)
    ascension = np.degrees(np.arctan2(cosd(obliquity) * sind(longitude), cosd(longitude)))
    declination = np.degrees(np.arcsin(sind(obliquity) * sind(longitude)))
    distance = 1.000001018 * (1 - eccentricity**2) / (1 + eccentricity * cosd(anomaly + centre))
    equinoxes = -0.00478 * sind(node) * cosd(obliquity)
    return np.asarray(ascension), np.asarray(declination), np.asarray(distance), np.asarray(equinoxes)
