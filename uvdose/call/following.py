"""Whoever follows the events: each has a queue of its own, and the slowest loses its oldest, never the count."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager

from ..messages import EventDoc

BOUND = 1000


class Followers:
    """Streams of events from now on. Runs on the daemon's loop."""

    def __init__(self) -> None:
        self._queues: set[asyncio.Queue[EventDoc | None]] = set()

    def tell(self, event: EventDoc | None) -> None:
        """Give an event to all; None ends their streams."""
        for queue in self._queues:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(event)

    @contextmanager
    def listening(self) -> Iterator[asyncio.Queue[EventDoc | None]]:
        """A queue that each event is put into from now on, and None when the daemon ends."""
        queue: asyncio.Queue[EventDoc | None] = asyncio.Queue(BOUND)
        self._queues.add(queue)
        try:
            yield queue
        finally:
            self._queues.discard(queue)

    async def follow(self) -> AsyncIterator[EventDoc]:
        """Events from now on, until the daemon ends."""
        with self.listening() as queue:
            while (event := await queue.get()) is not None:
                yield event
