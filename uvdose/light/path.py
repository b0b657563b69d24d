"""How the clear-sky light of a place goes on through the rest of the day, on the plane of a bench."""

from __future__ import annotations

import msgspec
import numpy as np

from .arrays import FloatArray, Numbers, numbers
from .bands import flat_integral
from .clearsky import Atmosphere, spectrum
from .plane import HORIZONTAL, Plane, on_plane
from .sun import position
from .uv import UV_NM

_STEP_S = 600.0
_BEFORE_S, _AHEAD_S = 3600.0, 86400.0
GOOD_FOR_S = 2700.0  # a path holds what a forecast wants of the time before for so long


class Place(msgspec.Struct, frozen=True):
    """Where a bench stands and how its sensor lies: degrees north and east, metres above the sea."""

    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0
    plane: Plane = HORIZONTAL


class SunPath(msgspec.Struct, frozen=True):
    """Clear-sky ultraviolet at rising moments (Unix seconds), W/m², and its integral from the first, J/m².

    It ends with the light of the day; where it is dark at the moment it was made for, with that moment.
    """

    utc_s: FloatArray
    clear_w_m2: FloatArray
    total_j_m2: FloatArray

    def clear(self, utc_s: Numbers) -> FloatArray:
        """Clear-sky light at moments; none beyond the ends."""
        return np.asarray(np.interp(utc_s, self.utc_s, self.clear_w_m2, left=0.0, right=0.0))

    @property
    def has_set(self) -> bool:
        """Whether it ends in the dark, and was light within the hour before it was made."""
        return bool(self.clear_w_m2[-1] <= 0.0 < self.clear_w_m2.max())

    def seconds_to(self, clear_j_m2: float, from_utc_s: float) -> float | None:
        """How long until this much clear-sky light has fallen; None where the day does not have as much left."""
        want = float(np.interp(from_utc_s, self.utc_s, self.total_j_m2)) + clear_j_m2
        if not want <= float(self.total_j_m2[-1]):
            return None
        return max(0.0, float(np.interp(want, self.total_j_m2, self.utc_s)) - from_utc_s)


def sun_path(place: Place, utc_s: float) -> SunPath:
    """The path from an hour before a moment to the end of its day, at most 24 hours on. Good for `GOOD_FOR_S`.

    Clear sky by SPECTRL2 (`clearsky`), 300-400 nm, with its default air. Only the course counts: a forecast takes its
    level from the sensor.
    """
    times = utc_s + np.arange(-_BEFORE_S, _AHEAD_S + 1, _STEP_S)
    sun = position(times, place.latitude_deg, place.longitude_deg, place.height_m)
    air = Atmosphere(height_m=place.height_m)
    day = _day_of_year(utc_s)
    sky = spectrum(sun.apparent_zenith_deg, air, day)
    light = flat_integral(on_plane(sky, place.plane, sun.apparent_zenith_deg, sun.azimuth_deg), *UV_NM)
    now = int(_BEFORE_S / _STEP_S)
    dark = np.flatnonzero(light[now:] <= 0.0)
    end = now + int(dark[0]) + 1 if len(dark) else len(times)
    times, light = times[:end], light[:end]
    steps = (numbers(light[1:]) + light[:-1]) / 2 * _STEP_S
    return SunPath(times, light, np.concatenate([[0.0], np.cumsum(steps)]))


def _day_of_year(utc_s: float) -> float:
    """1 to 366, for the sun's distance alone: a day off moves the light by 0.05 % at most."""
    return float(utc_s / 86400.0 % 365.2425) + 1.0
