"""By what light a sensor stands, for the commands that want one light alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..model import Refusal

if TYPE_CHECKING:
    from ..config import SensorSettings


def under_lamp(sensor: SensorSettings) -> SensorSettings:
    """A sensor that stands under a lamp. Raises `Refusal` for another."""
    from ..exposure.target import SUN

    if sensor.light == SUN:
        raise Refusal(f"sensor {sensor.name} stands in the sun: for one under a lamp write light = \"lamp\" under its"
                      " [[sensor]]")  # fmt: skip
    return sensor
