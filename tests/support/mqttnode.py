"""Nodes that live through a table of measured light and speak over a real broker, at a pace."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Sequence

import paho.mqtt.client as paho

from uvdose.intake.node import SimulatedNode

from .paced import Paced


class Publisher(Paced):
    """A node with a client of its own."""

    def __init__(self, port: int, pace: float) -> None:
        super().__init__(pace)
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._port = port

    def _begin(self) -> None:
        self.client.connect("127.0.0.1", self._port)
        self.client.loop_start()

    def _end(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


class NativeMqttNode(Publisher):
    """The native line over `<topic>/reading`, `/answer`, `/online` and `/command`."""

    def __init__(
        self, port: int, topic: str, table_w_m2: Sequence[float], *, counts_per_w_m2: float = 10.0, pace: float = 1.0
    ) -> None:
        super().__init__(port, pace)
        self.topic = topic
        table = [v * counts_per_w_m2 for v in table_w_m2]
        self.node = SimulatedNode(0x0BADCAFE, lambda s: table[min(int(s // 60), len(table) - 1)], 1_000_000)
        self._guard = threading.Lock()
        self.client.on_connect = lambda c, *_: c.subscribe(f"{topic}/command", 1)
        self.client.on_message = lambda _c, _u, m: self._obey(m.payload)

    def _obey(self, payload: bytes) -> None:
        with self._guard:
            self._say(self.node.command(payload, int(self.now_s() * 1000)))

    def _step(self) -> None:
        with self._guard:
            self._say(self.node.advance(int(self.now_s() * 1000)))

    def _say(self, lines: list[bytes]) -> None:
        for line in lines:
            self.client.publish(f"{self.topic}/{'reading' if line.startswith(b'uv1,') else 'answer'}", line, 1)


class ValueMqttNode(Publisher):
    """Momentary values, one payload each, taken at whole periods and a half after the start."""

    def __init__(
        self, port: int, topic: str, value: Callable[[float], float], payload: Callable[[float, float], str],
        *, period_s: float = 1.0, pace: float = 1.0,
    ) -> None:
        super().__init__(port, pace)
        self.topic, self._value, self._payload, self._period_s = topic, value, payload, period_s
        self._count = 0

    def _step(self) -> None:
        while (at := (self._count + 0.5) * self._period_s) <= self.now_s():
            self.client.publish(self.topic, self._payload(at, self._value(at)), 1)
            self._count += 1


def senml(at_s: float, value: float) -> str:
    """RFC 8428: one record of irradiance with an absolute base time."""
    record = {"bn": "urn:dev:ow:10e2073a01080063:", "bt": 1_465_000_000 + at_s, "n": "uva", "u": "W/m2", "v": value}
    return json.dumps([record])
