"""How the settings say that a bench, its frames and its sensors lie, in the terms of the light: one place for all that
asks. numpy is loaded only by what needs it: the daemon may ask, too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from .catalogue import part_named
from .config import SensorSettings
from .model import ProvedLight, Refusal
from .settings_bench import BenchSettings

if TYPE_CHECKING:
    from .light.bands import Band
    from .light.outlook import Spot
    from .light.plane import Plane

NO_PLACE = (
    "where does the bench stand? Set latitude and longitude in degrees under [bench] in uvdose.toml, such as"
    " latitude = 47.0 and longitude = 7.5"
)
EMULSION = "framed"  # the paper lies under the frame's glass and a film


def lying(bench: BenchSettings, air_mass: float, sun_azimuth_deg: float | None, utc: str = "") -> ProvedLight:
    """The light through so much air, on sensor and frame as `[bench]` says that they lie."""
    tilted = bench.facing == "tilted"
    return ProvedLight(
        air_mass, sun_azimuth_deg, bench.tilt_deg or 0.0 if tilted else 0.0, bench.azimuth_deg if tilted else None,
        bench.facing == "sun", utc,
    )


def plane_of(light: ProvedLight, light_in: str = "") -> Plane:
    """How sensor and frame lie in this light, one of `LIGHTS`."""
    from .light.plane import Plane

    return Plane(light.tilt_deg, light.azimuth_deg, light.toward_sun, light_in == "shade")


def spot_of(bench: BenchSettings) -> Spot:
    """Where the bench stands, and how its frames lie. Raises `Refusal` where the settings do not say it."""
    from .light.outlook import Spot

    if bench.latitude is None or bench.longitude is None:
        raise Refusal(NO_PLACE)
    return Spot(bench.latitude, bench.longitude, bench.height_m, plane_of(lying(bench, 1.0, None)))


def sensor_band_of(sensor: SensorSettings) -> Band | None:
    """The band of the sensor's part, with the glass and the film over it where it lies under them; None where it names
    no part."""
    from .light.bands import emulsion_band, sensor_band, under

    if sensor.part is None:
        return None
    band = sensor_band(part_named(sensor.part).band)
    return under(band, emulsion_band(EMULSION)) if sensor.under_glass else band


def band_of(sensor: SensorSettings) -> Band | tuple[float, float]:
    """The same, with all ultraviolet from 300 nm for a part that is not known."""
    from .light.uv import UV_NM

    return sensor_band_of(sensor) or UV_NM
