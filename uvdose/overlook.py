"""Looking at all benches of a broker: listens while somebody asks, and for half a minute more."""

from __future__ import annotations

import threading
from pathlib import Path

from .benches import MOST_BYTES, TOPICS, Benches, read_message
from .clock import host_wall_us, pause, real_s
from .config import MqttSettings
from .intake.mqtt_benches import BenchesEar, Listener
from .listed import BenchesDoc
from .model import Refusal
from .stamps import iso_utc

LINGER_S = 30.0
REST = 3  # times as long as a message took nothing more is read: who floods the broker gets a quarter of a core
ROOM = 1024  # beside a message's own bytes: its topic and what MQTT adds


class Overlook:
    """settings: None where no broker is set up. folder: of the files that they name. To be asked from one thread."""

    def __init__(self, settings: MqttSettings | None, folder: Path) -> None:
        self._settings = settings
        self._folder = folder
        self._guard = threading.Lock()
        self._ear: BenchesEar | None = None
        self._benches = Benches("")
        self._asked_s = 0.0

    def now(self) -> BenchesDoc:
        """All benches. The first to ask begins the listening, so that there is little to see yet. Raises `Refusal`."""
        if self._settings is None:
            raise Refusal("all benches are seen at their broker, and none is set up: [mqtt] in uvdose.toml names it")
        self._asked_s = real_s()
        if self._ear is None:
            self._begin(self._settings)
        with self._guard:
            return self._benches.view(real_s(), iso_utc(host_wall_us()))

    def look(self) -> None:
        """Stop listening where nobody has asked for a while. To be called now and then."""
        if self._ear is not None and real_s() - self._asked_s > LINGER_S:
            self.end()

    def forget(self, name: str, seconds: float) -> bool:
        """Take away what the broker keeps of a bench; whether it has taken that in time."""
        return self._ear is not None and all(
            self._ear.say(f"uvdose/{name}/{what}", seconds) for what in ("state", "online")
        )

    def end(self) -> None:
        """Listen no more."""
        ear, self._ear = self._ear, None
        if ear is not None:
            ear.end()

    def _begin(self, settings: MqttSettings) -> None:
        benches = self._benches = Benches(f"{settings.host}:{settings.port}")

        def take(topic: str, payload: bytes, retained: bool) -> None:
            begin_s = real_s()
            message = read_message(topic, payload)
            with self._guard:
                benches.put(message, retained, real_s())
            pause(REST * (real_s() - begin_s))

        def greeted() -> None:
            with self._guard:
                benches.greeted(real_s())

        def lost(why: str) -> None:
            with self._guard:
                benches.lost(why)

        self._ear = BenchesEar(settings, self._folder, TOPICS, MOST_BYTES + ROOM, Listener(take, greeted, lost))
        self._ear.begin()
