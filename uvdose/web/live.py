"""Live data for pages: one status for all streams, told after every change.

A document is built once per change and shared. Each stream holds the newest status alone and a few happenings, so a
page that reads slowly skips to the newest and never makes the daemon keep more. While no page is open nothing runs.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator, Callable
from typing import Protocol

import msgspec

from ..foretold import OutlookDoc
from ..listed import AimDoc, BenchesDoc, LightDoc, ListsDoc, QueueDoc, TargetDoc
from ..messages import EventDoc, StatusDoc
from ..model import Refusal

BUNDLE_S = 0.1  # changes closer together than this are told together
LIT_S = 1.0  # how often the dose is told while a print lies in the light
BEAT_S = 2.0  # at least this often in any case, so that silence means a lost connection
MOST_STREAMS = 200
MOST_HAPPENED = 50
MOVING = ("waiting", "counting", "reached")


class Lists(Protocol):
    """What pages choose from. revision: rises when any of it has changed."""

    revision: int

    def follow(self, changed: Callable[[], None]) -> None:
        """Have this called whenever any of it has changed; given twice it is called once."""

    def targets(self) -> list[TargetDoc]:
        """Targets in use."""

    def queue(self) -> QueueDoc:
        """Who is next."""

    def lists(self) -> ListsDoc:
        """All of it."""

    async def light(self, number: int) -> LightDoc:
        """The light of an exposure."""


class Foretelling(Protocol):
    """What tells how long prints will take."""

    async def outlook(self, names: list[str], date: str | None, sensor: str | None, revision: int) -> OutlookDoc:
        """Of these targets, on a day, by the light of a sensor."""


class Reviewing(Protocol):
    """What tells how a day was."""

    async def page(self, date: str | None) -> tuple[str, str]:
        """A day's page, the newest's for None, and the hash of its styles."""

    async def document(self, date: str) -> bytes:
        """A day as JSON."""


class Told(Protocol):
    """What a live stream is made of."""

    home_id: str

    @property
    def showing(self) -> Lists:
        """What pages choose from."""

    @property
    def days(self) -> Reviewing:
        """What tells how a day was."""

    @property
    def outlooks(self) -> Foretelling:
        """What tells how long prints will take."""

    def aim(self, name: str, sensor: str | None) -> AimDoc:
        """What a print of a target begun now would aim at."""

    def benches(self) -> BenchesDoc:
        """All benches at the broker."""

    def status(self) -> StatusDoc:
        """Now."""

    def coming(self) -> AsyncIterator[EventDoc]:
        """Events from now on, until the daemon ends."""


def message(name: str, data: object) -> bytes:
    """One server-sent event. JSON has no line breaks of its own."""
    return b"event: %s\ndata: %s\n\n" % (name.encode(), msgspec.json.encode(data))


class _Stream:
    """One page's: the newest of each kind that it has not been given."""

    def __init__(self) -> None:
        self.newest: dict[str, bytes] = {}
        self.happened: deque[bytes] = deque(maxlen=MOST_HAPPENED)
        self.wake = asyncio.Event()
        self.over = False

    def give(self, kind: str, data: bytes) -> None:
        """Something newer takes the place of what was not read."""
        self.newest[kind] = data
        self.wake.set()

    def take(self) -> bytes:
        """All that has gathered; what happened goes first, so that the status is never older than it."""
        parts = [*self.happened, *self.newest.values()]
        self.happened.clear()
        self.newest.clear()
        self.wake.clear()
        return b"".join(parts)


class Live:
    """All streams of one daemon. Runs on its loop."""

    def __init__(self, told: Told) -> None:
        self._told = told
        self._streams: set[_Stream] = set()
        self._tasks: list[asyncio.Task[None]] = []
        self._changed = asyncio.Event()
        self._last: dict[str, bytes] = {}
        self._built_s = 0.0
        self._moving = False
        self._revision = -1

    def check(self) -> None:
        """Raises `Refusal` where there are too many."""
        if len(self._streams) >= MOST_STREAMS:
            raise Refusal(f"{MOST_STREAMS} pages are open already; close some")

    async def stream(self, role: str) -> AsyncIterator[bytes]:
        """One page's stream: who it is, the status and the lists at once, then what changes."""
        stream = _Stream()
        self._streams.add(stream)
        try:
            self._begin()
            if asyncio.get_running_loop().time() - self._built_s > BUNDLE_S or not self._last:
                self._build()
            yield message("hello", {"home": self._told.home_id, "role": role})
            for kind, data in self._last.items():
                stream.give(kind, data)
            while True:
                if data := stream.take():
                    yield data
                if stream.over:
                    return
                await stream.wake.wait()
        finally:
            self._streams.discard(stream)
            if not self._streams:
                self._end()

    def _begin(self) -> None:
        self._told.showing.follow(self._changed.set)
        if not self._tasks or any(task.done() for task in self._tasks):
            self._end()
            self._tasks = [asyncio.create_task(self._follow()), asyncio.create_task(self._beat())]

    def _end(self) -> None:
        for task in self._tasks:
            task.cancel()
        self._tasks = []
        self._last = {}
        self._revision = -1

    async def _follow(self) -> None:
        """Hand on what happens, and have the status told after it."""
        async for event in self._told.coming():
            data = message("happened", event)
            for stream in self._streams:
                stream.happened.append(data)
            self._changed.set()
        self._close()  # the daemon ends

    def _close(self) -> None:
        for stream in self._streams:
            stream.over = True
            stream.wake.set()

    async def _beat(self) -> None:
        """Tell the status after each change, while light falls once a second, and else every two."""
        loop = asyncio.get_running_loop()
        while True:
            try:
                await asyncio.wait_for(self._changed.wait(), LIT_S if self._moving else BEAT_S)
                await asyncio.sleep(max(0.0, self._built_s + BUNDLE_S - loop.time()))
            except TimeoutError:
                pass
            self._changed.clear()
            try:
                self._build()
            except Exception:  # pages see their streams end and ask again; the count must not end with them
                self._close()
                return

    def _build(self) -> None:
        """Give all streams what is new: the status always, the lists when they have changed."""
        status = self._told.status()
        self._moving = any(e.state in MOVING for e in status.exposures)
        new = {"status": message("status", status)}
        if self._told.showing.revision != self._revision:
            self._revision = self._told.showing.revision
            new["lists"] = message("lists", self._told.showing.lists())
        self._last |= new
        self._built_s = asyncio.get_running_loop().time()
        for stream in self._streams:
            for kind, data in new.items():
                stream.give(kind, data)
