"""Listening to what all benches at a broker say of themselves, over a connection of its own: what is said there can
be anything and as much as it likes, and must not hold up the light of this bench."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from ..config import MqttSettings
from .link import Words
from .mqtt_client import DaemonClient
from .mqtt_words import closed_unanswered, place, refused

END_S = 1.0


class Listener(NamedTuple):
    """What is called from the connection's thread. take(topic, payload, retained); lost(why)."""

    take: Callable[[str, bytes, bool], None]
    greeted: Callable[[], None]
    lost: Callable[[str], None]


class BenchesEar:
    """From `begin` to `end`; it connects for ever. most_bytes: the broker keeps longer messages from it."""

    def __init__(
        self, settings: MqttSettings, folder: Path, topics: Sequence[str], most_bytes: int, listener: Listener
    ) -> None:
        self._settings = settings
        self._topics = topics
        self._listener = listener
        self._up = self._refused = False
        name = f"uvdose-benches-{secrets.token_hex(4)}"
        self._client = DaemonClient(settings, folder, name, self._failed, most_bytes)
        self._client.on_pre_connect = self._on_pre_connect
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_disconnect = self._on_disconnect
        self._client.on_message = self._on_message

    def begin(self) -> None:
        """Connect, in a thread of its own."""
        self._client.begin()

    def say(self, topic: str, seconds: float) -> bool:
        """Take away what the broker keeps of a topic; whether it has taken that in time."""
        done = self._client.publish(topic, b"", qos=1, retain=True)
        try:
            done.wait_for_publish(seconds)
        except (RuntimeError, ValueError):
            return False
        return done.is_published()

    def end(self) -> None:
        """Say goodbye."""
        self._client.end()
        ender = threading.Thread(target=self._client.loop_stop, name="mqtt-benches-end", daemon=True)
        ender.start()
        ender.join(END_S)

    # in paho's thread ---------------------------------------------------------------------------------------

    def _failed(self, words: Words) -> None:
        self._up = False
        self._listener.lost(f"{words.why}; {words.mend}")

    def _on_pre_connect(self, client: Any, userdata: Any) -> None:
        self._refused = False

    def _on_connect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self._refused = True
            words = refused(str(reason), self._settings)
            if "rotocol" in str(reason):
                words = Words(words.why, "to look at all benches it must speak MQTT 5, as Mosquitto does from 1.6 on")
            self._failed(words)
            return
        self._up = True
        self._listener.greeted()
        client.subscribe([(topic, 1) for topic in self._topics])

    def _on_subscribe(self, client: Any, userdata: Any, mid: Any, reasons: Any, properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            why = f"{place(self._settings)} does not let {' and '.join(self._topics)} be read"
            self._failed(Words(why, "let this user read them in the broker's access list"))

    def _on_disconnect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if self._up:
            self._failed(Words(f"the connection to {place(self._settings)} is lost", "it is tried again by itself"))
        elif not self._refused:
            self._failed(closed_unanswered(self._settings))

    def _on_message(self, client: Any, userdata: Any, message: Any) -> None:
        try:
            topic = str(message.topic)
        except UnicodeDecodeError:
            topic = ""
        self._listener.take(topic, bytes(message.payload), bool(message.retain))
