"""Whether what the bench publishes can be heard: a second client of the same broker that waits for one message."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..config import MqttSettings
from .link import Words
from .mqtt_client import DaemonClient
from .mqtt_words import place

END_S = 1.0


class Echo:
    """Listens on one topic from `begin` to `end`. All methods but `begin` wait, so they belong into a thread.

    wanted(payload): whether it is the message that is waited for.
    """

    def __init__(self, settings: MqttSettings, folder: Path, topic: str, wanted: Callable[[bytes], bool]) -> None:
        self._place = place(settings)
        self._topic = topic
        self._wanted = wanted
        self._ready, self._heard = threading.Event(), threading.Event()
        self._fault = ""
        self._client = DaemonClient(settings, folder, f"uvdose-echo-{secrets.token_hex(4)}", self._failed)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    def begin(self) -> None:
        """Connect, in a thread of its own."""
        self._client.begin()

    def ready(self, seconds: float) -> str:
        """Wait until it listens; an empty line when it does, else what keeps it from that."""
        self._ready.wait(seconds)
        return self._fault or ("" if self._ready.is_set() else f"{self._place} does not answer")

    def heard(self, seconds: float) -> bool:
        """Whether the message comes in time."""
        return self._heard.wait(seconds)

    def end(self) -> None:
        """Say goodbye."""
        self._client.end()
        ender = threading.Thread(target=self._client.loop_stop, name="mqtt-echo-end", daemon=True)
        ender.start()
        ender.join(END_S)

    # in paho's thread ---------------------------------------------------------------------------------------

    def _failed(self, words: Words) -> None:
        self._fault = f"{words.why}; {words.mend}"
        self._ready.set()

    def _on_connect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self._failed(Words(f"{self._place} refuses: {reason}", "see [mqtt] in uvdose.toml"))
        else:
            client.subscribe(self._topic, qos=1)

    def _on_subscribe(self, client: Any, userdata: Any, mid: Any, reasons: Any, properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            line = f"{self._place} refuses to let {self._topic} be read"
            self._failed(Words(line, "let this user read it in the broker's access list"))
        self._ready.set()

    def _on_message(self, client: Any, userdata: Any, message: Any) -> None:
        if self._wanted(bytes(message.payload)):
            self._heard.set()
