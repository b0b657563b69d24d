"""Sensors over MQTT, and what the bench publishes: one client for the whole daemon.

A native sensor's `topic` is `<prefix>/<node>`: its lines come on `/reading` and `/answer`, `/online` says whether the
node is there, `/command` leads back to it. Every other format is read from `topic` itself and has no way back.

An ACL of the broker that keeps a topic from us is answered as granted: only the sensor's silence tells of it.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho

from ..clock import Clock
from ..config import MqttSettings, SensorSettings
from .link import Chunk, LinkState, Sink, Words
from .mqtt_client import DaemonClient, thread_fault
from .mqtt_link import MqttLink
from .mqtt_voice import Voice
from .mqtt_words import closed_unanswered, place, refused

LONGEST_PAYLOAD = 65536
JOIN_S = 3.0
MOST_EARLY = 32


class MqttHub:
    """The daemon's connection to its broker. bench: the name under which it publishes. folder: of relative files.

    alone: whether the name is looked for at the broker first, so that two benches never say things under one; then
    `tend` is to be called about twice a second by the thread that publishes.
    """

    def __init__(
        self, settings: MqttSettings, clock: Clock, bench: str, folder: Path | None = None, alone: bool = False
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._bench = bench
        self._links: list[MqttLink] = []
        self._by_topic: dict[str, list[MqttLink]] = {}  # of hundreds of sensors each message is for one or two
        self._listeners: dict[str, Callable[[bytes, bool], None]] = {}
        self._early: list[tuple[str, bytes, bool]] = []
        # Guards what follows. Only paho's own thread may call paho while it holds this: another thread could meet
        # that one in a callback, each waiting for the other's lock.
        self._guard = threading.RLock()
        self._started = False
        self._stopped = False
        self._greeted = False
        self._subscribed = False
        self._refused = False
        self._pending: dict[int, list[str]] = {}
        self._words: Words | None = None
        run = secrets.token_hex(4)
        name = f"uvdose-{bench}-{run}"  # random: two clients of one name throw each other out
        self._client = DaemonClient(settings, folder or Path(), name, self._down)
        self._voice = Voice(self._client, bench, self._guard, run if alone else None)
        self._client.on_pre_connect = self._caught("a new try", self._on_pre_connect)
        self._client.on_connect = self._caught("the connection", self._on_connect)
        self._client.on_subscribe = self._caught("a subscription", self._on_subscribe)
        self._client.on_message = self._caught("a message", self._on_message)
        self._client.on_disconnect = self._caught("a lost connection", self._on_disconnect)

    def link_for(self, sensor: SensorSettings) -> MqttLink:
        """The link of one sensor. To be asked for before `start`."""
        link = MqttLink(self, sensor)
        self._links.append(link)
        for topic in link.topics:
            self._by_topic.setdefault(topic, []).append(link)
        return link

    def listen(self, topic: str, hear: Callable[[bytes, bool], None]) -> None:
        """Hand on what comes on a topic of the bench, and whether it was retained. To be asked for before `start`.

        hear: called from paho's thread; it must only enqueue.
        """
        self._listeners[topic] = hear

    def start(self, sink: Sink) -> None:
        """Connect, now or whenever the broker is there. A second start only hands the sink to links without one."""
        with self._guard:
            for link in self._links:
                link.sink = link.sink or sink
            if self._started or self._stopped:
                return
            self._started = True
        self._client.begin()

    @property
    def trouble(self) -> str:
        """Why the bench says nothing under its name; empty where it does."""
        if not self._voice.left:
            return ""
        return (
            f"another bench called {self._bench} is at {place(self._settings)}: nothing of this one goes out there, and"
            " no commands are taken, until one of the two has another name under [bench] and is started again"
        )

    def publish(self, topic: str, payload: bytes | str, retain: bool = False, qos: int = 1) -> bool:
        """Hand a message over; never blocks. False when it was dropped; see `Voice.publish`."""
        return self._voice.publish(topic, payload.encode() if isinstance(payload, str) else payload, retain, qos)

    def tend(self) -> None:
        """See `Voice.tend`. What came for the bench while its name was being looked for is heard once it is its own."""
        self._voice.tend()
        if self._early and (self._voice.speaks or self._voice.left):
            with self._guard:
                early, self._early = self._early, []
            for topic, payload, retained in early if self._voice.speaks else ():
                self._listeners[topic](payload, retained)

    def send_now(self, topic: str, payload: bytes) -> bool:
        """Publish only over a connection that is there: a command that comes late is worse than none."""
        if not self._greeted or self._stopped:
            return False
        return self._client.publish(topic, payload, qos=1).rc == paho.MQTT_ERR_SUCCESS

    def stop(self) -> None:
        """Publish offline, say goodbye, end the thread; at most some seconds."""
        with self._guard:
            if self._stopped:
                return
            self._stopped = True
        if not self._started:
            return
        self._voice.goodbye()
        self._client.end()
        # In a thread of its own, as paho joins without a limit and may be waiting for a name server.
        ender = threading.Thread(target=self._client.loop_stop, name="mqtt-end", daemon=True)
        ender.start()
        ender.join(JOIN_S)

    # states -------------------------------------------------------------------------------------------------

    def tell(self, link: MqttLink) -> None:
        """Say how a link is, if that is known and new."""
        with self._guard:
            if self._stopped:
                return
            name = link.sensor.name
            if self._words is not None:
                link.say(LinkState(name, False, self._words.why, self._words.mend))
            elif link.gone:
                mend = "check the node's power and its network"
                link.say(LinkState(name, False, "the node went offline", mend))
            elif self._subscribed:
                link.say(LinkState(name, True, f"subscribed at {place(self._settings)}"))

    def _down(self, words: Words) -> None:
        with self._guard:
            self._greeted = self._subscribed = False
            self._voice.lost()
            self._words = words
            self._tell_all()

    def _tell_all(self) -> None:
        for link in self._links:
            self.tell(link)

    # callbacks, in paho's thread ----------------------------------------------------------------------------

    def _caught(self, where: str, handle: Callable[..., None]) -> Callable[..., None]:
        """paho's thread would end with an exception of a callback: it is caught, logged and told instead."""

        def callback(client: Any, userdata: Any, *rest: Any) -> None:
            try:
                handle(*rest)
            except Exception:
                words = thread_fault(where)
                for link in self._links:
                    link.say(LinkState(link.sensor.name, False, words.why, words.mend))

        return callback

    def _on_pre_connect(self) -> None:
        self._refused = False

    def _on_connect(self, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self._refused = True
            self._down(refused(str(reason), self._settings))
            return
        with self._guard:
            self._words = None
            self._subscribed = False
            self._pending.clear()
            for link in self._links:
                link.gone = False  # the retained `/online` will tell anew
            self._voice.greeted()
            self._greeted = True
        wanted = {topic for link in self._links for topic in link.topics} | self._listeners.keys()
        topics = sorted(wanted.union(self._voice.topics))
        if not topics:
            return
        # A clean session forgets subscriptions: they are made at every connection.
        _, mid = self._client.subscribe([(topic, 1) for topic in topics])
        if mid is not None:
            self._pending[mid] = topics
        self._voice.subscribed()

    def _on_subscribe(self, mid: int, reasons: list[Any], properties: Any) -> None:
        topics = self._pending.pop(mid, None)
        if topics is None:
            return
        denied = {topic for topic, reason in zip(topics, reasons, strict=False) if reason.is_failure}
        with self._guard:
            self._subscribed = True
            for link in self._links:
                if denied.intersection(link.topics):
                    why = f"{place(self._settings)} refuses the topic {sorted(denied.intersection(link.topics))[0]}"
                    mend = "let this user read it in the broker's access list"
                    link.say(LinkState(link.sensor.name, False, why, mend))
                else:
                    self.tell(link)

    def _on_message(self, message: paho.MQTTMessage) -> None:
        arrival_us = self._clock.dose_us()
        topic = message.topic
        if topic in self._voice.topics:
            self._voice.heard(topic, bytes(message.payload), bool(message.retain))
        if topic in self._listeners and not self._voice.left:
            self._hear(topic, bytes(message.payload), bool(message.retain))
        for link in self._by_topic.get(topic, ()):
            if topic == link.online_topic:
                self._set_gone(link, bytes(message.payload).strip() == b"0")
            elif not message.retain:
                # A retained message is an old one: it was counted when it was new, or it is nobody's light.
                if link.gone:
                    self._set_gone(link, False)
                if link.sink is not None:
                    # Cut anywhere it could become another number: too long a payload comes through as none at all.
                    data = bytes(message.payload) if len(message.payload) <= LONGEST_PAYLOAD else b""
                    link.sink(Chunk(link.sensor.name, data, arrival_us, whole=True))

    def _hear(self, topic: str, payload: bytes, retained: bool) -> None:
        with self._guard:
            if not self._voice.speaks:
                self._early = [*self._early, (topic, payload[:LONGEST_PAYLOAD], retained)][:MOST_EARLY]
                return
        self._listeners[topic](payload, retained)

    def _set_gone(self, link: MqttLink, gone: bool) -> None:
        with self._guard:
            link.gone = gone
            self.tell(link)

    def _on_disconnect(self, flags: Any, reason: Any, properties: Any) -> None:
        with self._guard:
            if self._greeted:
                words = Words(f"the connection to {place(self._settings)} is lost", "it is tried again by itself")
                self._down(words)
            elif not self._refused and not self._stopped:
                self._down(closed_unanswered(self._settings))
