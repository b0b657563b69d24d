"""What every source of bytes looks like to the daemon.

A link runs its own thread or shares a library's, and does nothing in a callback but hand a `Chunk` or a
`LinkState` to the sink it was given; the sink only enqueues and may be called from any thread.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

import msgspec


class Chunk(msgspec.Struct, frozen=True, gc=False):
    """Bytes as they came, with the dose time of their arrival.

    whole: True where the transport keeps messages apart (MQTT), so that `data` is one message;
    False for a byte stream, which the decoder must cut itself.
    """

    sensor: str
    data: bytes
    arrival_us: int
    whole: bool = False


class Words(NamedTuple):
    """why: what happened to a link, in one line. mend: what a person can do, empty when there is nothing to do."""

    why: str
    mend: str


class LinkState(msgspec.Struct, frozen=True):
    """A change of a link: up or down, with one line that says why, and `mend`, what a person can do."""

    sensor: str
    up: bool
    why: str = ""
    mend: str = ""


Sink = Callable[[Chunk | LinkState], None]


class Link(Protocol):
    """One sensor's way in, and the way back to its node where there is one."""

    def start(self, sink: Sink) -> None:
        """Begin; returns at once, also when the device is not there yet. Never raises for a missing device."""

    def send(self, line: bytes) -> bool:
        """Hand one command line to the node; False when the link is down or has no way back. Never blocks long."""

    def stop(self) -> None:
        """End the link and its thread."""
