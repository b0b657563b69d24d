"""A sensor's mismatch asked by names: two bands of the table, and one plane then and now."""

from __future__ import annotations

from uvdose.light.bands import emulsion_band, sensor_band, under
from uvdose.light.clearsky import Atmosphere
from uvdose.light.mismatch import Light, Mismatch, between
from uvdose.light.plane import Plane


def mismatch(
    sensor_class: str,
    emulsion: str,
    geometry: Plane,
    airmass_proved: float,
    airmass_now: float,
    *,
    geometry_proved: Plane | None = None,
    atmosphere: Atmosphere | None = None,
    sun_azimuths_deg: tuple[float, float] | None = None,
    under_glass: bool = False,
) -> Mismatch:
    """geometry: how sensor and frame lie now, and at the proof where geometry_proved is not given. sun_azimuths_deg: at
    the proof and now. under_glass: the sensor lies under the same glass and film as the emulsion, then and now."""
    azimuths = sun_azimuths_deg or (None, None)
    proved = Light(geometry_proved or geometry, airmass_proved, azimuths[0])
    now = Light(geometry, airmass_now, azimuths[1])
    sensor, paper = sensor_band(sensor_class), emulsion_band(emulsion)
    return between(under(sensor, paper) if under_glass else sensor, paper, proved, now, atmosphere)
