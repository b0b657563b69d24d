"""What goes out over MQTT: each event as it is committed, and the state about once a second. It never blocks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import msgspec

from ..messages import EventDoc, StatusDoc

STATE_EVERY_S = 1.0
NAME_AGAIN = "the bench's name is its own at the broker again: state, events and commands go on"


class Broker(Protocol):
    """Where it goes. `publish` must only enqueue; a thread that publishes calls `tend` about twice a second."""

    @property
    def trouble(self) -> str:
        """Why nothing goes out under the bench's name; empty where it does."""

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> bool:
        """Hand a message over."""

    def tend(self) -> None:
        """See that the bench's name is its own."""


class Publisher:
    """told(line, over, what): hears the trouble with the bench's name when it comes; an empty line when it is over."""

    def __init__(self, broker: Broker, bench: str, told: Callable[[str, str, str], None]) -> None:
        self._broker = broker
        self._told = told
        self._trouble = ""
        self._prefix = f"uvdose/{bench}"
        self._due_s = 0.0

    def event(self, event: EventDoc) -> None:
        """Publish one event, not retained."""
        self._broker.publish(f"{self._prefix}/event", msgspec.json.encode(event.flat()))

    def look(self, status: Callable[[], StatusDoc], now_s: float) -> None:
        """Tend the name, and publish the state, retained, when it is time."""
        self._broker.tend()
        trouble = self._broker.trouble
        if trouble != self._trouble:
            self._trouble = trouble
            self._told(trouble, NAME_AGAIN, "mqtt")
        if now_s < self._due_s or trouble:
            return
        self._due_s = now_s + STATE_EVERY_S
        self._broker.publish(f"{self._prefix}/state", msgspec.json.encode(status()), True)

    def troubles(self) -> list[str]:
        """What `status` tells of it."""
        return [self._trouble] if self._trouble else []
