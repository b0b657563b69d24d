"""Response: from what a sensor says to irradiance, as its settings state it."""

from __future__ import annotations

import math

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


NOT_KNOWN = "-"  # a node's word for what it does not know of itself
DRIFT_SHARE = 0.005  # of full scale: so far a zero may move and doses still compare
DRIFT_U = 3.0  # or so many combined standard uncertainties of the two zeros


class NodeSays(msgspec.Struct, frozen=True):
    """What a native node tells of itself that a dose depends on, in its own words: `ok who` of the wire format.

    gain: with whatever else sets how strong light counts, such as the time over which it integrates.
    """

    sensor: str
    gain: str
    full_scale: str

    def __str__(self) -> str:
        return f"{self.sensor}, gain {self.gain}, full scale {self.full_scale}"


def node_says(who: str | None) -> NodeSays | None:
    """What of `ok who <name> <firmware> <sensor> <gain> <full_scale> <zero>` counts; None where it says less."""
    words = (who or "").split(" ")
    return NodeSays(*words[4:7]) if words[:2] == ["ok", "who"] and len(words) >= 7 else None


class Identity(msgspec.Struct, frozen=True):
    """What makes a sensor the same sensor: a target proved with one identity is not for another.

    zero_u: of the zero; it makes no other sensor. node: what the node says of itself; None where it is no node, or
    nobody has asked it, as in journals of before. under_glass: it lies under the same glass and film as
    the paper.
    """

    name: str
    format: str
    unit: str
    scale: float | None
    zero: float
    full_scale: float | None
    mount: str | None
    light: str
    zero_u: float = 0.0
    node: NodeSays | None = None
    under_glass: bool = False

    @property
    def span(self) -> float | None:
        """Full scale in the unit: as the settings state it, else as the node does; None where neither does."""
        if self.full_scale is not None:
            return self.full_scale
        try:
            return float(self.node.full_scale) if self.node is not None and self.unit == "counts" else None
        except ValueError:
            return None


def identity_of(sensor: SensorSettings, who: str | None = None) -> Identity:
    """The identity that a sensor's settings state; who: what its node last said of itself."""
    return Identity(
        sensor.name, sensor.format, sensor.unit, sensor.scale, sensor.zero, sensor.full_scale, sensor.mount,
        sensor.light, sensor.zero_u, node_says(who) if sensor.format == "native" else None,
        sensor.under_glass,
    )


def identity_response(identity: Identity) -> Response:
    """The response of an identity out of the journal, for counting again with the settings of then."""
    return response_of(
        SensorSettings(
            name=identity.name, link="recording", file="-", format=identity.format, unit=identity.unit,
            scale=identity.scale, zero=identity.zero, full_scale=identity.full_scale, zero_u=identity.zero_u,
        )
    )


_COMPARED = ("name", "format", "unit", "scale", "full_scale", "mount", "light")


def differences(then: Identity, now: Identity) -> list[str]:
    """What differs so that doses do not compare, in words; empty where the sensor is the same.

    Of another sensor altogether its own figures (scale, zero, what its node says) are not gone through one by one.
    """
    another = then.name != now.name
    fields = ("name", "mount", "light") if another else _COMPARED
    found = [
        f"{field} was {_said(getattr(then, field))}, is {_said(getattr(now, field))}"
        for field in fields
        if getattr(then, field) != getattr(now, field)
    ]
    if then.under_glass != now.under_glass:
        found.append(f"it lay {_over(then)}, and lies {_over(now)}")
    if another:
        return found
    if abs(now.zero - then.zero) > zero_play(then, now):
        found.append(f"zero was {then.zero:.6g}, is {now.zero:.6g}")
    if then.node is not None and now.node is not None:  # a node that was not asked, or did not answer, voids nothing
        found += [
            f"the node's {field.replace('_', ' ')} was {getattr(then.node, field)}, is {getattr(now.node, field)}"
            for field in then.node.__struct_fields__
            if getattr(then.node, field) != getattr(now.node, field)
            and NOT_KNOWN not in (getattr(then.node, field), getattr(now.node, field))
        ]
    return found


def _said(value: str | float | None) -> str:
    return "none" if value is None else str(value)


def _over(identity: Identity) -> str:
    return "under the frame's glass" if identity.under_glass else "bare"


def drifted(then: Identity, now: Identity) -> list[str]:
    """What differs without any harm: a zero that moved a little. A better zero makes doses compare better."""
    moved = then.zero != now.zero and abs(now.zero - then.zero) <= zero_play(then, now)
    return [f"zero was {then.zero:.6g}, is {now.zero:.6g}: so little that doses still compare"] if moved else []


def zero_play(then: Identity, now: Identity) -> float:
    """How far a zero may move, in the unit: 0.5 % of full scale, or three combined standard uncertainties if more.

    Uncertainties of two independent readings combine in quadrature (JCGM 100:2008, 5.1.2).
    """
    return max(DRIFT_SHARE * abs(now.span or 0.0), DRIFT_U * math.hypot(then.zero_u, now.zero_u))


def same_sensor(a: Identity | None, b: Identity | None) -> bool:
    """Whether doses counted with two identities compare; None: bound to no sensor."""
    return a is b or (a is not None and b is not None and not differences(a, b))
