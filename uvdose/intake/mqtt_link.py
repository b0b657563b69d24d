"""One sensor's share of the daemon's connection to its broker."""

from __future__ import annotations

from typing import Protocol

from ..config import SensorSettings
from .link import LinkState, Sink


class Hub(Protocol):
    """The connection that is shared."""

    def start(self, sink: Sink) -> None:
        """Begin, where it has not begun yet."""

    def tell(self, link: MqttLink) -> None:
        """Say to a link how it stands."""

    def send_now(self, topic: str, payload: bytes) -> bool:
        """Publish where somebody can hear it now; whether that was so."""


class MqttLink:
    """One sensor's share of the hub. Implements `Link`."""

    def __init__(self, hub: Hub, sensor: SensorSettings) -> None:
        topic = (sensor.topic or "").removesuffix("/")
        self.sensor = sensor
        self.native = sensor.format == "native"
        self.base = topic.removesuffix("/reading") if self.native else sensor.topic or ""
        self.data_topics = [f"{self.base}/reading", f"{self.base}/answer"] if self.native else [self.base]
        self.online_topic = f"{self.base}/online" if self.native else None
        self.gone = False  # the node itself said that it is offline, or its last will did
        self.sink: Sink | None = None
        self._hub = hub
        self._said: LinkState | None = None

    @property
    def topics(self) -> list[str]:
        """What it needs to be subscribed to."""
        return self.data_topics + ([self.online_topic] if self.online_topic else [])

    def start(self, sink: Sink) -> None:
        """Begin; starts the hub too if it has not been started."""
        self.sink = sink
        self._hub.start(sink)
        self._hub.tell(self)

    def send(self, line: bytes) -> bool:
        """Publish to the node's `/command`; False when there is no node there to hear it. Never queued for later."""
        return self.native and not self.gone and self._hub.send_now(f"{self.base}/command", line)

    def stop(self) -> None:
        """Say no more; the hub's own `stop` ends the connection."""
        self.sink = None

    def say(self, state: LinkState) -> None:
        """Hand on a state that is new."""
        if self.sink is not None and state != self._said:
            self._said = state
            self.sink(state)
