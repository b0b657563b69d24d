"""What a bench says at its broker under its own name: kept while it may not speak, and said once it may."""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from typing import Any

import msgspec
import paho.mqtt.client as paho

from ..clock import real_s
from .mqtt_name import Name, read_claim

GOODBYE_S = 1.0
MOST_KEPT = 256
MOST_WAITING = 1000


class Voice:
    """client: paho's. guard: of the hub; only paho's own thread may call paho while it holds it.

    run: of this process; with one, the name is looked for before anything is said, and `tend` has to be called. With
    None it speaks as soon as the broker hears it.
    """

    def __init__(self, client: paho.Client, bench: str, guard: threading.RLock, run: str | None) -> None:
        self._client = client
        self._guard = guard
        self._name = Name(run) if run is not None else None
        self._here, self._online = f"uvdose/{bench}/here", f"uvdose/{bench}/online"
        self.topics = frozenset(() if run is None else (self._here, self._online))
        """What it has to hear."""
        self._greeted = self._ended = False
        self._kept: dict[str, tuple[bytes, int]] = {}
        self._waiting: deque[tuple[str, bytes, int]] = deque(maxlen=MOST_WAITING)
        client.will_set(self._online, b"0", qos=1, retain=True)

    @property
    def speaks(self) -> bool:
        """Whether it may say something under the bench's name, as far as is known."""
        return self._name is None or self._name.held

    @property
    def left(self) -> bool:
        """Whether another has the name."""
        return self._name is not None and self._name.left

    def publish(self, topic: str, payload: bytes, retain: bool, qos: int) -> bool:
        """Hand a message over; never blocks. False when it was dropped.

        While the broker is away, or the name is not ours yet, a retained topic keeps its newest payload only, and at
        most 1000 others wait.
        """
        with self._guard:
            if self._ended or self.left:
                return False
            if retain and not (self._greeted and self.speaks):
                if topic not in self._kept and len(self._kept) >= MOST_KEPT:
                    return False
                self._kept[topic] = (payload, qos)
                return True
            if qos == 0 and not self._greeted:
                return False
            if not self.speaks:
                self._waiting.append((topic, payload, qos))
                return True
        return self._client.publish(topic, payload, qos=qos, retain=retain).rc in (
            paho.MQTT_ERR_SUCCESS,
            paho.MQTT_ERR_NO_CONN,  # paho keeps it until the broker is back
        )

    def greeted(self) -> None:
        """The broker hears us. In paho's thread, under the guard: a newer payload cannot slip in before its elder."""
        if self._name is not None:
            self._name.connected(real_s())
        if self.speaks:
            self._say_all(*self._taken())
        self._greeted = True

    def subscribed(self) -> None:
        """What others say of the name is heard from now on. In paho's thread."""
        if self._name is not None:
            self._say_claim(self._name)

    def lost(self) -> None:
        """The broker is gone."""
        self._greeted = False
        if self._name is not None:
            self._name.lost()

    def heard(self, topic: str, payload: bytes, retained: bool) -> None:
        """A message on one of `topics`, in paho's thread. What is retained is old, and nobody's claim."""
        name = self._name
        if name is None or retained or self._ended:
            return
        if topic == self._online:
            # The last will of a connection of ours that the broker gave up late, or of another that had this name.
            if payload.strip() != b"1" and name.held:
                self._client.publish(self._online, b"1", qos=1, retain=True)
        elif (claim := read_claim(payload)) is not None:
            with self._guard:
                answers = name.hear(claim, real_s())
                if name.left:
                    self._waiting.clear()
                    self._kept.clear()
                if answers:
                    self._say_claim(name)

    def tend(self) -> None:
        """Claim the name when it is time, and say that it is held. About twice a second, in the publishing thread."""
        name = self._name
        if name is None or self._ended or not self._greeted:
            return
        with self._guard:
            held = name.held
            due = name.tend(real_s())
            news = self._taken() if name.held and not held else None
        if news is not None:
            self._say_all(*news)  # only the thread that is here publishes, so that nothing newer has gone before
        if due:
            self._say_claim(name)

    def goodbye(self) -> None:
        """The last word. Nothing is said any more."""
        with self._guard:
            says = self._greeted and self.speaks and not self._ended
            self._ended = True
        if says:
            with contextlib.suppress(RuntimeError, ValueError):  # the broker went away: its last will says the same
                self._client.publish(self._online, b"0", qos=1, retain=True).wait_for_publish(GOODBYE_S)

    def _taken(self) -> tuple[dict[str, tuple[bytes, int]], list[tuple[str, bytes, int]]]:
        kept, waiting = self._kept, list(self._waiting)
        self._kept, self._waiting = {}, deque(maxlen=MOST_WAITING)
        return kept, waiting

    def _say_all(self, kept: dict[str, tuple[bytes, int]], waiting: list[tuple[str, bytes, int]]) -> None:
        self._client.publish(self._online, b"1", qos=1, retain=True)
        for topic, (payload, qos) in kept.items():
            self._client.publish(topic, payload, qos=qos, retain=True)
        for topic, payload, qos in waiting:
            self._client.publish(topic, payload, qos=qos)

    def _say_claim(self, name: Name) -> Any:
        return self._client.publish(self._here, msgspec.json.encode(name.claim(real_s())), qos=0)
