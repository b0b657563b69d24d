"""How much ultraviolet a clear sky gives on a frame, with how sure that is.

It tells how long a print will take and how far the light of now lies below a clear sky; it never adds up a dose.
Clouds are not in it: of the minutes of June 2016 at Payerne, up to air mass 3, the middle half had 0.41 to 0.99 of a
clear sky's UVA, one in twenty less than 0.17, one in a hundred, beside bright edges, more than 1.16.
"""

from __future__ import annotations

import msgspec
import numpy as np

from .arrays import FloatArray, Numbers, numbers
from .bands import Band, flat_integral
from .clearsky import MOST_AEROSOL, MOST_OZONE_DU, STANDARD, Atmosphere, spectrum
from .plane import HORIZONTAL, Plane, parts_on_plane

# Standard uncertainties of the defaults: ozone from day to day at middle latitudes, haze within a factor of two either
# way in 68 %, the ground, and what the model itself leaves: it lies within 1 % of ASTM G173, but measured UVA on clear
# days at Payerne was 0.83 to 0.90 of it, of which haze and a dark ground explain half (tests/light/test_uv.py).
OZONE_U_DU = 40.0
AEROSOL_U_FACTOR = 2.0
ALBEDO_U = 0.08
MODEL_U = 0.08

UV_NM = (300.0, 400.0)
UVA_NM = (315.0, 400.0)


class ClearUv(msgspec.Struct, frozen=True):
    """Ultraviolet of a clear sky on a plane; each field has the shape of the moments.

    irradiance_w_m2: in the band asked for; in a sensor's band its relative response is at most 1, so that it compares
    with that sensor's own figures only up to a factor. low_w_m2, high_w_m2: hold it in 95 %. diffuse_fraction: 0 to 1,
    of all that does not come straight from the sun; 0 in the dark.
    """

    irradiance_w_m2: FloatArray
    low_w_m2: FloatArray
    high_w_m2: FloatArray
    diffuse_fraction: FloatArray


def clear_uv(
    apparent_zenith_deg: Numbers,
    plane: Plane = HORIZONTAL,
    band: Band | tuple[float, float] = UV_NM,
    atmosphere: Atmosphere = STANDARD,
    day_of_year: Numbers = 172.0,
    sun_azimuth_deg: Numbers | None = None,
) -> ClearUv:
    """Clear-sky ultraviolet on a plane for the sun at these apparent zenith angles, degrees.

    band: of a sensor or an emulsion, or two wavelengths in nm between which all counts alike. The model is meant for
    zenith angles below 85 degrees; light beyond is weak, and dark from 90 on.
    """
    zenith = numbers(apparent_zenith_deg)

    def parts(air: Atmosphere) -> tuple[FloatArray, FloatArray]:
        beam, *sky = parts_on_plane(spectrum(zenith, air, day_of_year), plane, zenith, sun_azimuth_deg)
        return _within(beam, band), sum((_within(part, band) for part in sky), np.zeros(()))

    beam, diffuse = parts(atmosphere)
    total = np.asarray(beam + diffuse)
    ozone, haze, albedo = (numbers(v) for v in (atmosphere.ozone_du, atmosphere.aerosol_500, atmosphere.albedo))
    down = up = np.full(total.shape, (2 * MODEL_U) ** 2)
    # Each end two standard uncertainties away: haze acts far more upwards than downwards, and more than in proportion.
    haze_factor = AEROSOL_U_FACTOR**2
    for low, high in (
        (atmosphere.with_air(np.maximum(ozone - 2 * OZONE_U_DU, 0.0), haze),
         atmosphere.with_air(np.minimum(ozone + 2 * OZONE_U_DU, MOST_OZONE_DU), haze)),
        (atmosphere.with_air(ozone, haze / haze_factor),
         atmosphere.with_air(ozone, np.minimum(haze * haze_factor, MOST_AEROSOL))),
        (atmosphere.on_ground(np.maximum(albedo - 2 * ALBEDO_U, 0.0)),
         atmosphere.on_ground(np.minimum(albedo + 2 * ALBEDO_U, 1.0))),
    ):  # fmt: skip
        ends = [np.log(np.maximum(np.add(*parts(air)), 1e-30) / np.maximum(total, 1e-30)) for air in (low, high)]
        down = down + np.minimum(0.0, np.minimum(*ends)) ** 2
        up = up + np.maximum(0.0, np.maximum(*ends)) ** 2
    share = np.divide(diffuse, total, out=np.zeros_like(total), where=total > 0)
    low_end, high_end = total * np.exp(-np.sqrt(down)), total * np.exp(np.sqrt(up))
    return ClearUv(total, np.asarray(low_end), np.asarray(high_end), np.asarray(share))


def _within(light: FloatArray, band: Band | tuple[float, float]) -> FloatArray:
    return band.integral(light) if isinstance(band, Band) else flat_integral(light, *band)
