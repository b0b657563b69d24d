"""How the clear-sky light of a place goes on through the rest of the day, for forecasts of the time left and for
guesses of where a print lies."""

from __future__ import annotations

import msgspec
import numpy as np

from .bands import Band
from .forecast import SunPath
from .lies import ClearLight
from .outlook import Spot, clear_light

_STEP_S = 600.0
_BEFORE_S, _AHEAD_S = 3600.0, 86400.0


def sun_path(spot: Spot, utc_s: float) -> SunPath:
    """The path from an hour before a moment to the end of its light, at most 24 hours on.

    Only its course counts: a forecast takes the level from the sensor.
    """
    times = utc_s + np.arange(-_BEFORE_S, _AHEAD_S + 1, _STEP_S)
    light = clear_light(spot, times)
    now = int(_BEFORE_S / _STEP_S)
    dark = np.flatnonzero(light[now:] <= 0.0)
    end = now + int(dark[0]) + 1 if len(dark) else len(times)
    times, light = times[:end], light[:end]
    total = np.concatenate([[0.0], np.cumsum((light[1:] + light[:-1]) / 2 * _STEP_S)])
    return SunPath(*(tuple(field.tolist()) for field in (times, light, total)))


def clear_course(spot: Spot, utc_s: float, band: Band | tuple[float, float], level: float) -> ClearLight:
    """What a sensor of this band says of a clear sky, from an hour before a moment to a day beyond it.

    level: what it says over what the model does.
    """
    times = utc_s + np.arange(-_BEFORE_S, _AHEAD_S + 1, _STEP_S)
    hidden = msgspec.structs.replace(spot, plane=msgspec.structs.replace(spot.plane, shade=True))
    light, without = clear_light(spot, times, band), clear_light(hidden, times, band)
    scattered = np.divide(without, light, out=np.ones_like(light), where=light > 0)
    return ClearLight(*(tuple(row.tolist()) for row in (times, level * light, scattered)))
