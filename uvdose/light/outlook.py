"""How long a print will take: the light of a day on a frame, minute by minute, added up to a dose.

A print has its time from when it is begun until the dose is there; where the sun sets before, it has none. A sky is a
share of the clear sky's light for each minute (`skies`); many skies give a range. It foretells and never counts a dose.
"""

from __future__ import annotations

from collections.abc import Iterable

import msgspec
import numpy as np

from .arrays import FloatArray, Numbers, numbers
from .bands import Band, flat_integral
from .clearsky import STANDARD, spectrum
from .plane import HORIZONTAL, Plane, on_plane
from .sun import SunPosition, position
from .uv import UV_NM

MINUTE_S = 60.0
# A print that is begun late on a polar day goes on into the next.
BEYOND_S = 12 * 3600.0
MOST_PRINTS = 500
_AT_ONCE = 1000  # moments whose spectra are held at a time: a month of them would be 100 MB


class Spot(msgspec.Struct, frozen=True):
    """Where a frame lies and how. latitude, longitude: degrees, north and east positive; height above the sea."""

    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0
    plane: Plane = HORIZONTAL

    def sun(self, utc_s: Numbers) -> SunPosition:
        """Where the sun stands, seen from here, at Unix seconds."""
        return position(utc_s, self.latitude_deg, self.longitude_deg, self.height_m)

    def solar_s(self, utc_s: Numbers) -> FloatArray:
        """Unix seconds by the mean sun of this longitude: whole days of it begin at its midnight."""
        return np.asarray(numbers(utc_s) + (self.longitude_deg + 180.0) % 360.0 * 240.0 - 43200.0)


def clear_light(
    spot: Spot, utc_s: FloatArray, band: Band | tuple[float, float] = UV_NM, sun: SunPosition | None = None
) -> FloatArray:
    """Light of the model's clear sky in a band on the frame, W/m², at Unix seconds; 0 where the sun is down."""
    sun = sun or spot.sun(utc_s)
    light = np.zeros(utc_s.shape)
    air = msgspec.structs.replace(STANDARD, height_m=spot.height_m)
    lit = np.flatnonzero(sun.apparent_zenith_deg < 90.0)
    for first in range(0, len(lit), _AT_ONCE):
        up = lit[first : first + _AT_ONCE]
        zenith, day = sun.apparent_zenith_deg[up], utc_s[up] / 86400.0 % 365.2425 + 1.0
        seen = on_plane(spectrum(zenith, air, day), spot.plane, zenith, sun.azimuth_deg[up])
        light[up] = band.integral(seen) if isinstance(band, Band) else flat_integral(seen, *band)
    return light


class Course(msgspec.Struct, frozen=True):
    """The clear light of a day. edges_s: of its minutes, Unix seconds, one more than light; light: the mean of each,
    W/m² (or in a sensor's own unit); sun_deg: height above the horizon at each minute's middle. starts: so many of
    the minutes are the day's own, the others lie beyond it."""

    edges_s: FloatArray
    light: FloatArray
    sun_deg: FloatArray
    starts: int


def course(
    spot: Spot, from_s: float, until_s: float, band: Band | tuple[float, float] = UV_NM, level: float = 1.0
) -> Course:
    """The clear sky's light from one moment to another and half a day beyond; level: what the sensor says over what
    the model does."""
    starts = round((until_s - from_s) / MINUTE_S)
    edges = from_s + MINUTE_S * np.arange(starts + round(BEYOND_S / MINUTE_S) + 1, dtype=np.float64)
    middles = edges[:-1] + MINUTE_S / 2
    sun = spot.sun(middles)
    light = clear_light(spot, middles, band, sun)
    return Course(edges, level * light, sun.elevation_deg, starts)


class Outlook:
    """What one or many skies give over a course. shares: of the clear light, a row for each sky, a column for each
    minute; without it the clear sky alone."""

    def __init__(self, course: Course, shares: FloatArray | None = None) -> None:
        self.course = course
        clear = course.light[None, :] if shares is None else course.light * shares
        self._sums = np.concatenate([np.zeros((len(clear), 1)), np.cumsum(clear * MINUTE_S, axis=1)], axis=1)
        # For each minute the edge at which the sun is down, at the latest the end of what is known.
        dark = np.flatnonzero(course.light <= 0.0)
        at = np.searchsorted(dark, np.arange(len(course.light)))
        self._until = np.append(dark, len(course.light))[at]

    @property
    def skies(self) -> int:
        """How many skies."""
        return len(self._sums)

    def lasting_s(self, begin_s: Numbers, dose: float) -> FloatArray:
        """How long a print of this dose takes, in seconds, begun at Unix seconds: a row for each sky.

        Infinite where the light goes before it is done.
        """
        begin = np.atleast_1d(numbers(begin_s))
        return self._lasting(np.broadcast_to(begin, (self.skies, len(begin))), dose)

    def fitting(self, begin_s: float, doses: Iterable[float], between_s: float) -> tuple[FloatArray, list[FloatArray]]:
        """One print after the other, with a pause between two, from a moment on until the light goes.

        How many of them each sky lets finish; and for each print, when it ends in each sky, infinite where it does not.
        """
        at = np.full((self.skies, 1), begin_s)
        done = np.zeros(self.skies)
        ends: list[FloatArray] = []
        for _, dose in zip(range(MOST_PRINTS), doses, strict=False):
            end = at + self._lasting(at, dose)
            ends.append(end[:, 0])
            done += np.isfinite(end[:, 0])
            at = end + between_s
            if not np.isfinite(at).any():
                break
        return done, ends

    def _lasting(self, begin_s: FloatArray, dose: float) -> FloatArray:
        edges, sums = self.course.edges_s, self._sums
        known = (begin_s >= edges[0]) & (begin_s < edges[-1])
        place = np.where(known, (begin_s - edges[0]) / MINUTE_S, 0.0)
        minute = place.astype(int)
        before = np.take_along_axis(sums, minute, axis=1)
        first = np.take_along_axis(sums, minute + 1, axis=1) - before
        wanted = before + first * (place - minute) + dose
        # What rounding leaves of a sum must not carry a print over the night.
        able = known & (wanted <= np.take_along_axis(sums, self._until[minute], axis=1) * (1 - 1e-12))
        reached = np.stack([np.interp(w, row, edges) for w, row in zip(wanted, sums, strict=True)])
        return np.where(able, reached - begin_s, np.inf)


def first_light_s(course: Course) -> float | None:
    """When the day's light begins; None on a day without."""
    lit = np.flatnonzero(course.light[: course.starts] > 0.0)
    return float(course.edges_s[lit[0]]) if len(lit) else None


def last_start_s(course: Course, lasting_s: FloatArray) -> float | None:
    """The last of the day's minutes at which a print can be begun that finishes; None where none does.

    lasting_s: of a print begun at each of the day's minutes.
    """
    able = np.flatnonzero(np.isfinite(lasting_s))
    return float(course.edges_s[able[-1]]) if len(able) else None


def quantile(values: FloatArray, share: float) -> FloatArray:
    """The value that so large a share of the skies does not exceed, for each column. Infinite ones sort last."""
    ordered = np.sort(values, axis=0)
    return np.asarray(ordered[min(len(ordered) - 1, int(np.ceil(share * len(ordered))) - 1)])
