"""Response: from what a sensor says to irradiance, as its settings state it."""

from __future__ import annotations

import msgspec

from ..config import SensorSettings
from ..units import IRRADIANCE_UNITS, W_M2_PER_MW_CM2, dose_unit


class Response(msgspec.Struct, frozen=True):
    """`irradiance = factor x (value - zero)`.

    factor: W/m² per unit, or 1 for a sensor without a scale, whose "irradiance" then stays in its unit.
    zero, full_scale: in the sensor's unit; at or above full_scale a value is a lower bound.
    unit: the unit of dose on screens. zero_u: standard uncertainty of the zero, in the sensor's unit. repeat_u:
    relative standard uncertainty of the scale from one print to the next.
    """

    factor: float
    zero: float
    full_scale: float | None
    unit: str
    zero_u: float = 0.0
    repeat_u: float = 0.0


def response_of(sensor: SensorSettings) -> Response:
    """The response that a sensor's settings state. A negative value below zero stays negative: never clamped."""
    if sensor.unit in IRRADIANCE_UNITS:
        factor = IRRADIANCE_UNITS[sensor.unit]
    elif sensor.scale is not None:
        factor = sensor.scale * W_M2_PER_MW_CM2
    else:
        factor = 1.0
    unit = dose_unit(sensor.unit, sensor.scale is not None)
    return Response(factor, sensor.zero, sensor.full_scale, unit, sensor.zero_u, sensor.repeat_u)


class Identity(msgspec.Struct, frozen=True):
    """What makes a sensor the same sensor: a target proved with one identity is not for another."""

    name: str
    format: str
    unit: str
    scale: float | None
    zero: float
    full_scale: float | None
    mount: str | None
    light: str


def identity_of(sensor: SensorSettings) -> Identity:
    """The identity that a sensor's settings state."""
    return Identity(
        sensor.name, sensor.format, sensor.unit, sensor.scale, sensor.zero, sensor.full_scale, sensor.mount,
        sensor.light,
    )


def identity_response(identity: Identity) -> Response:
    """The response of an identity out of the journal, for counting again with the settings of then."""
    return response_of(
        SensorSettings(
            name=identity.name, link="recording", file="-", format=identity.format, unit=identity.unit,
            scale=identity.scale, zero=identity.zero, full_scale=identity.full_scale,
        )
    )


def differences(then: Identity, now: Identity) -> list[str]:
    """What differs between two identities, in words; empty when they are the same."""
    return [
        f"{field} was {getattr(then, field)}, is {getattr(now, field)}"
        for field in then.__struct_fields__
        if getattr(then, field) != getattr(now, field)
    ]
