"""Looking for sensors at a broker: which topics are published on in some seconds, and what comes on them."""

from __future__ import annotations

import secrets
import threading
from pathlib import Path
from typing import Any

import msgspec

from ..clock import pause, real_s
from ..config import MqttSettings
from .link import Words
from .mqtt_client import DaemonClient
from .mqtt_words import closed_unanswered, place, refused

MOST_TOPICS = 500
MOST_MESSAGES = 40  # of one topic, the newest
LONGEST_PAYLOAD = 8192
READY_S = 6.0
STEP_S = 0.05
END_S = 1.0


class BrokerHeard(msgspec.Struct, frozen=True):
    """What came: for each topic its messages with their times. kept: topics of which only a retained message came.

    left_out: topics beyond `MOST_TOPICS`. fault: why nothing could be heard.
    """

    topics: dict[str, list[tuple[float, bytes]]]
    kept: list[str]
    left_out: int = 0
    fault: Words | None = None


def listen_broker(settings: MqttSettings, folder: Path, seconds: float) -> BrokerHeard:
    """Listen on all topics for so long. folder: of the files that the settings name. Never raises."""
    ear = _Ear(settings, folder)
    ear.begin()
    try:
        if not ear.ready.wait(READY_S):
            ear.failed(Words(f"{place(settings)} does not answer", "check mqtt.host and mqtt.port"))
        end_s = real_s() + seconds
        while ear.fault is None and real_s() < end_s:
            pause(min(STEP_S, max(0.0, end_s - real_s())))
    finally:
        ear.end()
    return ear.heard()


class _Ear:
    """A client that takes down what comes; its callbacks run in paho's thread."""

    def __init__(self, settings: MqttSettings, folder: Path) -> None:
        self._settings = settings
        self._guard = threading.Lock()
        self._topics: dict[str, list[tuple[float, bytes]]] = {}
        self._kept: set[str] = set()
        self._left_out: set[str] = set()
        self.ready = threading.Event()
        self.fault: Words | None = None
        self._client = DaemonClient(settings, folder, f"uvdose-find-{secrets.token_hex(4)}", self.failed)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.on_disconnect = self._on_disconnect

    def begin(self) -> None:
        self._client.begin()

    def end(self) -> None:
        self._client.end()
        ender = threading.Thread(target=self._client.loop_stop, name="mqtt-find-end", daemon=True)
        ender.start()
        ender.join(END_S)

    def heard(self) -> BrokerHeard:
        with self._guard:
            topics = {topic: list(messages) for topic, messages in sorted(self._topics.items())}
            return BrokerHeard(topics, sorted(self._kept - set(topics)), len(self._left_out), self.fault)

    def failed(self, words: Words) -> None:
        """The first reason stands: that the connection ends then is no other one."""
        if not self.ready.is_set():
            self.fault = words
        self.ready.set()

    def _on_connect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self.failed(refused(str(reason), self._settings))
        else:
            client.subscribe("#", qos=0)

    def _on_subscribe(self, client: Any, userdata: Any, mid: Any, reasons: Any, properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            line = f"{place(self._settings)} does not let all topics be read"
            self.failed(Words(line, "let this user read them in the broker's access list, or set the topic by hand"))
        self.ready.set()

    def _on_disconnect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        self.failed(closed_unanswered(self._settings))

    def _on_message(self, client: Any, userdata: Any, message: Any) -> None:
        try:
            topic, payload = str(message.topic), bytes(message.payload)
        except UnicodeDecodeError:
            return  # no topic that settings could name
        with self._guard:
            if message.retain:
                # It was published before, perhaps long ago: it says that the topic is there, and nothing else.
                if len(self._kept) < MOST_TOPICS:
                    self._kept.add(topic)
                return
            if topic not in self._topics and len(self._topics) >= MOST_TOPICS:
                if len(self._left_out) < MOST_TOPICS:
                    self._left_out.add(topic)
                return
            messages = self._topics.setdefault(topic, [])
            messages.append((real_s(), payload[: LONGEST_PAYLOAD + 1]))
            del messages[:-MOST_MESSAGES]
