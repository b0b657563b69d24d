"""What goes out over MQTT: each event as it is committed, and the state about once a second. It never blocks."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from ..messages import EventDoc, StatusDoc

STATE_EVERY_S = 1.0

Publish = Callable[[str, bytes, bool], object]  # topic, payload, retain


class Publisher:
    """`publish(topic, payload, retain)` must only enqueue."""

    def __init__(self, publish: Publish, bench: str) -> None:
        self._publish = publish
        self._prefix = f"uvdose/{bench}"
        self._due_s = 0.0

    def event(self, event: EventDoc) -> None:
        """Publish one event, not retained."""
        self._publish(f"{self._prefix}/event", msgspec.json.encode(event.flat()), False)

    def state(self, status: StatusDoc, now_s: float) -> None:
        """Publish the state, retained, when it is time."""
        if now_s < self._due_s:
            return
        self._due_s = now_s + STATE_EVERY_S
        self._publish(f"{self._prefix}/state", msgspec.json.encode(status), True)
