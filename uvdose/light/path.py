"""How the clear-sky light of a place goes on through the rest of the day, for forecasts of the time left."""

from __future__ import annotations

import numpy as np

from .forecast import SunPath
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
