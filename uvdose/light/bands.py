"""What a sensor, an emulsion and the glass over it make of each wavelength: shapes, and integrals over a spectrum.

A spectrum is a straight line between the model's wavelengths, so that an integral over a band is one product of 21
values with 21 weights. What lies below 300 nm is not in the model: under a high sun 0.05 % of the light of all bands
but "erythema", where it is 1 to 3 %.
"""

from __future__ import annotations

from functools import cache, lru_cache
from importlib import resources

import msgspec
import numpy as np

from .arrays import FloatArray, Numbers, numbers
from .clearsky import WAVELENGTHS_NM

_STEP_NM = 0.25
_FINE_NM = np.arange(WAVELENGTHS_NM[0], WAVELENGTHS_NM[-1] + _STEP_NM / 2, _STEP_NM)
# Weight of each of the model's wavelengths in each fine one: what linear interpolation makes of it.
_HATS = np.stack([np.interp(_FINE_NM, WAVELENGTHS_NM, row) for row in np.eye(len(WAVELENGTHS_NM))])


class Shape(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One shape of `bands.json`. knots: [nm, relative response], straight between, 0 outside; null for the weight of
    erythema. edge_u_nm: how far all of it may lie to either side, one standard deviation. cover: what lies over it."""

    name: str
    text: str
    knots: tuple[tuple[float, float], ...] | None
    edge_u_nm: float
    source: str
    cover: str | None = None


class _Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    standing: str
    sensors: tuple[Shape, ...]
    emulsions: tuple[Shape, ...]
    covers: tuple[Shape, ...]


class Band(msgspec.Struct, frozen=True):
    """A shape with what lies over it. Shifts, in nm, move an edge to the longer side."""

    shape: Shape
    cover: Shape | None = None

    @property
    def name(self) -> str:
        return self.shape.name

    def response(self, nm: Numbers, shift_nm: float = 0.0, cover_shift_nm: float = 0.0) -> FloatArray:
        """Relative response at wavelengths, nm."""
        own = _value(self.shape, numbers(nm) - shift_nm)
        return own if self.cover is None else np.asarray(own * _value(self.cover, numbers(nm) - cover_shift_nm))

    def integral(self, light: FloatArray, shift_nm: float = 0.0, cover_shift_nm: float = 0.0) -> FloatArray:
        """The light (W/m²/nm at the model's wavelengths along the last axis) in this band, W/m²."""
        return np.asarray(light @ _weights(self, shift_nm, cover_shift_nm))


@cache
def table() -> _Table:
    """The shapes that come with the package, read once."""
    raw = resources.files(__package__).joinpath("bands.json").read_bytes()
    return msgspec.json.decode(raw, type=_Table)


def sensor_classes() -> list[str]:
    """Names of the classes of sensors."""
    return [s.name for s in table().sensors]


def emulsions() -> list[str]:
    """Names of the emulsions."""
    return [e.name for e in table().emulsions]


def sensor_band(name: str) -> Band:
    """The band of a class of sensors. Raises `ValueError`, which lists the names."""
    return _named(name, "sensor class", table().sensors)


def emulsion_band(name: str) -> Band:
    """The band of an emulsion with what lies over it. Raises `ValueError`, which lists the names."""
    return _named(name, "emulsion", table().emulsions)


def under(sensor: Band, emulsion: Band) -> Band:
    """A sensor that lies under the same glass and film as the emulsion."""
    return Band(sensor.shape, emulsion.cover)


def erythema_weight(nm: Numbers) -> FloatArray:
    """How strongly a wavelength reddens skin, against 298 nm and below. Source: ISO/CIE 17166:2019."""
    at = numbers(nm)
    weight = np.where(at <= 328, 10 ** (0.094 * (298 - np.maximum(at, 298))), 10 ** (0.015 * (140 - at)))
    return np.asarray(np.where(at <= 400, weight, 0.0))


def flat_integral(light: FloatArray, low_nm: float = 300.0, high_nm: float = 400.0) -> FloatArray:
    """All light between two wavelengths within 300 to 450 nm, W/m²."""
    return np.asarray(light @ _flat_weights(low_nm, high_nm))


@lru_cache(maxsize=32)
def _flat_weights(low_nm: float, high_nm: float) -> FloatArray:
    if not WAVELENGTHS_NM[0] <= low_nm < high_nm <= WAVELENGTHS_NM[-1]:
        raise ValueError("band: give two wavelengths from 300 to 450 nm, the shorter first")
    fine = np.linspace(low_nm, high_nm, 1001)
    hats = np.stack([np.interp(fine, WAVELENGTHS_NM, row) for row in np.eye(len(WAVELENGTHS_NM))])
    return np.asarray(np.trapezoid(hats, fine, axis=1))


@lru_cache(maxsize=256)
def _weights(band: Band, shift_nm: float, cover_shift_nm: float) -> FloatArray:
    return np.asarray(np.trapezoid(_HATS * band.response(_FINE_NM, shift_nm, cover_shift_nm), _FINE_NM, axis=1))


def _value(shape: Shape, nm: FloatArray) -> FloatArray:
    if shape.knots is None:
        return erythema_weight(nm)
    return np.interp(nm, [k[0] for k in shape.knots], [k[1] for k in shape.knots], left=0.0, right=0.0)


@cache
def _named(name: str, what: str, among: tuple[Shape, ...]) -> Band:
    for shape in among:
        if shape.name == name:
            covers = [c for c in table().covers if c.name == shape.cover]
            return Band(shape, covers[0] if covers else None)
    raise ValueError(f"{what} {name!r} is none of: {', '.join(s.name for s in among)}")
