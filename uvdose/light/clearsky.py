"""The spectrum of a clear sky from 300 to 450 nm: direct beam and scattered light, by sun height, ozone and haze.

Source: R. Bird & C. Riordan 1984, SPECTRL2 (NREL TR-215-2436), as NREL's later program and pvlib read it: 1.3366 in
equation 2-4 where the report prints 1.335, Tu' in equation 3-8, air mass by Kasten & Young. Water vapour and mixed
gases take nothing below 450 nm and are left out. Day of the year and distance: Spencer 1971, as the report.
"""

from __future__ import annotations

import math

import msgspec
import numpy as np

from .airmass import air_mass, pressure_hpa
from .arrays import FloatArray, Numbers, cosd, numbers

# The model's own wavelengths, with the sun's spectrum outside the air (W/m²/nm) and ozone's absorption (1/atm-cm).
WAVELENGTHS_NM = np.array(
    [300.0, 305, 310, 315, 320, 325, 330, 335, 340, 345, 350, 360, 370, 380, 390, 400, 410, 420, 430, 440, 450]
)
_OUTSIDE = np.array(
    [.5359, .5583, .622, .6927, .7151, .8329, .9619, .9319, .9006, .9113, .9755, .9759, 1.1199, 1.1038, 1.0338, 1.4791,
     1.7013, 1.7404, 1.5872, 1.837, 2.005]
)  # fmt: skip
_OZONE = np.array([10, 4.8, 2.7, 1.35, .8, .38, .16, .075, .04, .019, .007] + [0.0] * 9 + [.003])
_PRESSURE_HPA = 1013.0  # the report's standard, not 1013.25
_ALPHA, _SCATTERED_400, _VARIATION, _ASYMMETRY = 1.14, 0.945, 0.095, 0.65
_FORWARD = math.log(1 - _ASYMMETRY)
_BFS = _FORWARD * (0.0783 + _FORWARD * (-0.3824 - _FORWARD * 0.5874))
_AFS = _FORWARD * (1.459 + _FORWARD * (0.1595 + _FORWARD * 0.4129))
_SCATTER_PATH = 1.8
# Below this cosine of the zenith angle the model's circumsolar light would grow without bound.
_LEAST_COS = 0.01745
MOST_OZONE_DU, MOST_AEROSOL = 1000.0, 5.0


class Atmosphere(msgspec.Struct, frozen=True):
    """The air that the light goes through, with the defaults that the project's figures rest on.

    ozone_du: Dobson units; 320 is a middle for middle latitudes, where days lie from 250 to 420. aerosol_500: optical
    depth at 500 nm; 0.1 is clean country air, 0.03 mountains, 0.4 heavy haze. albedo: of the ground, 0 to 1; the
    report's 0.2 is high for ultraviolet on grass (0.03), low for fresh snow (0.8). height_m: above the sea; pressure
    (hPa), where known, goes before it. Each field is one number, or an array with a value per moment.
    """

    ozone_du: Numbers = 320.0
    aerosol_500: Numbers = 0.1
    albedo: Numbers = 0.2
    height_m: Numbers = 0.0
    pressure: Numbers | None = None

    def __post_init__(self) -> None:
        """Raises `ValueError` for what no air or ground has; a single value that is wrong, in an array too."""
        if not np.all((numbers(self.ozone_du) >= 0) & (numbers(self.ozone_du) <= MOST_OZONE_DU)):
            raise ValueError("ozone: give Dobson units from 0 to 1000, such as 320")
        if not np.all((numbers(self.aerosol_500) >= 0) & (numbers(self.aerosol_500) <= MOST_AEROSOL)):
            raise ValueError("aerosol: give the optical depth at 500 nm from 0 to 5, such as 0.1")
        if not np.all((numbers(self.albedo) >= 0) & (numbers(self.albedo) <= 1)):
            raise ValueError("albedo: give a share from 0 to 1, such as 0.2")

    def with_air(self, ozone_du: Numbers, aerosol_500: Numbers) -> Atmosphere:
        """The same place under other ozone and haze."""
        return msgspec.structs.replace(self, ozone_du=ozone_du, aerosol_500=aerosol_500)

    def on_ground(self, albedo: Numbers) -> Atmosphere:
        """The same air over other ground."""
        return msgspec.structs.replace(self, albedo=albedo)

    @property
    def hpa(self) -> FloatArray:
        """Pressure at the ground."""
        return pressure_hpa(self.height_m) if self.pressure is None else numbers(self.pressure)


STANDARD = Atmosphere()


class Spectrum(msgspec.Struct, frozen=True):
    """Light of a clear sky, W/m²/nm at `WAVELENGTHS_NM` along the last axis; the axes before it are the moments.

    direct: on a plane that faces the sun, without the sky. diffuse: from the sky on a horizontal plane.
    transmitted: direct over what arrives outside the air, 0 to 1; the share of the sky's light that comes from around
    the sun. cos_zenith, albedo: as they were asked for.
    """

    direct: FloatArray
    diffuse: FloatArray
    transmitted: FloatArray
    cos_zenith: FloatArray
    albedo: FloatArray


def spectrum(
    apparent_zenith_deg: Numbers, atmosphere: Atmosphere = STANDARD, day_of_year: Numbers = 172.0
) -> Spectrum:
    """The clear sky's spectrum for a sun at these apparent zenith angles (0 to below 90; dark beyond).

    day_of_year: 1 to 366, for the sun's distance alone, which moves the light by 3.3 % either way.
    """
    zenith, ozone, haze, albedo, hpa, day = np.broadcast_arrays(
        *(numbers(v)[..., None] for v in (
            apparent_zenith_deg, atmosphere.ozone_du, atmosphere.aerosol_500, atmosphere.albedo, atmosphere.hpa,
            day_of_year,
        ))
    )  # fmt: skip
    lit = zenith < 90.0
    zenith = np.minimum(zenith, 89.9)
    micrometres = WAVELENGTHS_NM / 1000
    outside = _OUTSIDE * distance_factor(day)
    depth = haze * (WAVELENGTHS_NM / 500) ** -_ALPHA
    single = _SCATTERED_400 * np.exp(-_VARIATION * np.log(WAVELENGTHS_NM / 400) ** 2)
    rayleigh_depth = 1 / (micrometres**4 * (115.6406 - 1.3366 / micrometres**2))
    cos_zenith = cosd(zenith)
    relative = air_mass(zenith)

    rayleigh = np.exp(-rayleigh_depth * relative * hpa / _PRESSURE_HPA)
    layer = 2 * 22 / 6370
    ozone_mass = (1 + layer / 2) / np.sqrt(cos_zenith**2 + layer)
    through_ozone = np.exp(-_OZONE * ozone / 1000 * ozone_mass)
    scattered = np.exp(-single * depth * relative)
    absorbed = np.exp(-(1 - single) * depth * relative)
    transmitted = rayleigh * scattered * absorbed * through_ozone
    direct = outside * transmitted

    common = outside * cos_zenith * through_ozone * absorbed
    forward = 1 - 0.5 * np.exp((_AFS + _BFS * cos_zenith) * cos_zenith)
    from_air = common * (1 - rayleigh**0.95) * 0.5
    from_haze = common * rayleigh**1.5 * (1 - scattered) * forward
    sky = _sky_reflects(rayleigh_depth * hpa / _PRESSURE_HPA, depth, single)
    bounced = (direct * cos_zenith + from_air + from_haze) * sky * albedo / (1 - sky * albedo)
    correction = ((WAVELENGTHS_NM + 550) / 1000) ** 1.8
    diffuse = (from_air + from_haze + bounced) * correction
    return Spectrum(
        np.where(lit, direct, 0.0), np.where(lit, diffuse, 0.0), np.where(lit, transmitted, 0.0),
        np.maximum(cos_zenith[..., 0], _LEAST_COS), albedo[..., 0],
    )  # fmt: skip


def _sky_reflects(rayleigh_depth: FloatArray, depth: FloatArray, single: FloatArray) -> FloatArray:
    """What the sky sends back of the light that the ground sends up (equation 3-8), at an air mass of 1.8."""
    rayleigh = np.exp(-rayleigh_depth * _SCATTER_PATH)
    scattered = np.exp(-single * depth * _SCATTER_PATH)
    absorbed = np.exp(-(1 - single) * depth * _SCATTER_PATH)
    forward = 1 - 0.5 * math.exp((_AFS + _BFS / _SCATTER_PATH) / _SCATTER_PATH)
    return np.asarray(absorbed * (0.5 * (1 - rayleigh) + (1 - forward) * rayleigh * (1 - scattered)))


def distance_factor(day_of_year: Numbers) -> FloatArray:
    """(mean distance of the sun / distance on this day)², by Spencer 1971 as SPECTRL2 takes it."""
    angle = 2 * np.pi * (numbers(day_of_year) - 1) / 365
    return np.asarray(
        1.00011 + 0.034221 * np.cos(angle) + 0.00128 * np.sin(angle)
        + 0.000719 * np.cos(2 * angle) + 7.7e-05 * np.sin(2 * angle)
    )  # fmt: skip
