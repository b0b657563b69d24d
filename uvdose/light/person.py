"""Plain cautions for the person beside the frame, and a UV index only where the sensor can know it.

Reddening of skin goes by wavelengths that a UVA sensor does not see: from a high sun to air mass 3, UVA falls to a
fifth and the index to a fifteenth. So an index from such a sensor is refused. None of this says how long anyone may
stay in the light: local advice and the sense to cover up go before it.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from ..model import Refusal
from .airmass import zenith_of
from .bands import sensor_band, sensor_classes
from .clearsky import spectrum
from .plane import HORIZONTAL, on_plane

INDEX_PER_W_M2 = 40.0
# By how much an index may be off between a high sun and air mass 3 before it is refused.
_MOST_SPREAD = 1.25
_MASSES = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0)

# Common practice, no source: the shadow rule. A shadow as long as the person is cast at 45 degrees.
_CAUTIONS = (
    (45.0, "Your shadow is shorter than you: skin burns fast. Cover skin and eyes, stay in the shade between looks."),
    (30.0, "The sun is strong enough to burn. Cover skin and eyes, and turn from the glass: it throws light back."),
    (15.0, "The sun still burns skin in the course of an afternoon. Cover up, and never look toward it."),
    (0.0, "The sun is low: little burns now, but do not look toward it, nor at its image in the glass."),
)


def caution(sun_elevation_deg: float) -> str | None:
    """A plain word of caution for the sun at this height above the horizon; None in the night. Clouds do not enter."""
    for least, words in _CAUTIONS:
        if sun_elevation_deg > least:
            return words
    return None


def beside_frame(sun_elevation_deg: float, lasting_s: float | None, when: str = "") -> str | None:
    """The same with the sun's height, when it stands so, and how long a print takes where that is known."""
    words = caution(sun_elevation_deg)
    if words is None:
        return None
    stay = f", and a print keeps you about {max(1, round(lasting_s / 60))} min beside the frame" if lasting_s else ""
    return f"The sun stands {max(1, round(sun_elevation_deg))}° high{when}{stay}. {words}"


def tells_index(sensor_class: str) -> bool:
    """Whether a UV index can be told from a sensor of this class: what it sees must fall as the index does.

    Raises `ValueError` for a class that is not known.
    """
    return index_spread(sensor_class) <= _MOST_SPREAD


def uv_index(sensor_class: str, erythemal_w_m2: float) -> float:
    """The UV index for an erythemally weighted irradiance. Source: WHO/WMO, 40 times it, in W/m².

    Raises `Refusal` (code 4) for every class of sensor that sees other wavelengths, whatever its reading is called.
    """
    if sensor_class not in sensor_classes() or not tells_index(sensor_class):
        fit = ", ".join(name for name in sensor_classes() if tells_index(name))
        seen = "it sees other wavelengths than skin does"
        raise Refusal(f"no UV index from a sensor of class {sensor_class}: {seen}; only from: {fit}", 4)
    return INDEX_PER_W_M2 * erythemal_w_m2


@cache
def index_spread(sensor_class: str) -> float:
    """By what factor the index for one and the same reading differs between a high sun and air mass 3."""
    zenith = zenith_of(np.array(_MASSES))
    light = on_plane(spectrum(zenith), HORIZONTAL, zenith)
    per_reading = sensor_band("erythema").integral(light) / sensor_band(sensor_class).integral(light)
    return float(per_reading.max() / per_reading.min())
