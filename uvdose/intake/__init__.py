"""Bytes and link states from wherever a sensor is reached."""

from __future__ import annotations

from pathlib import Path

from ..clock import Clock
from ..config import Settings
from ..model import Refusal
from .link import Chunk, Link, LinkState, Sink
from .mqtt import MqttHub
from .recording import RecordingLink
from .serial_port import SerialLink
from .simulated import SimulatedLink

__all__ = ["Chunk", "Link", "LinkState", "MqttHub", "Sink", "make_links"]


def make_links(settings: Settings, clock: Clock, folder: Path | None = None) -> tuple[dict[str, Link], MqttHub | None]:
    """A link for each sensor, by name, and the hub where there is a broker. Nothing is started.

    folder: the home, from which relative paths of recordings, passwords and certificates are taken.
    Raises `Refusal` for a sensor that needs a broker when none is set up.
    """
    hub = None
    if settings.mqtt is not None:
        hub = MqttHub(settings.mqtt, clock, settings.bench.name, folder, alone=True)
    links: dict[str, Link] = {}
    for sensor in settings.sensor:
        if sensor.link == "serial":
            links[sensor.name] = SerialLink(sensor, clock)
        elif sensor.link == "recording":
            links[sensor.name] = RecordingLink(sensor, clock, folder)
        elif sensor.link == "simulated":
            links[sensor.name] = SimulatedLink(sensor, clock)
        elif hub is not None:
            links[sensor.name] = hub.link_for(sensor)
        else:
            raise Refusal(f"sensor {sensor.name!r} needs an [mqtt] block with host and port", code=2)
    return links, hub
