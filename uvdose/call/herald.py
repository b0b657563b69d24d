"""The herald: calls and tells what has been committed, in order; a commit that takes too long holds nothing up."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future

from ..exposure.bench import Bench
from ..exposure.outcome import Outcome
from ..messages import EventDoc
from .desk import Desk
from .following import Followers
from .unanswered import Unanswered

COMMIT_PATIENCE_S = 0.2


class Herald:
    """What waits for its commit before it is called and told. now_s() gives real seconds."""

    def __init__(
        self,
        bench: Bench,
        desk: Desk,
        now_s: Callable[[], float],
        on_event: Callable[[EventDoc], None],
        on_hush: Callable[[int, str], None],
    ) -> None:
        self.followers = Followers()
        self.unanswered = Unanswered()
        self._bench = bench
        self._desk = desk
        self._now_s = now_s
        self._on_event, self._on_hush = on_event, on_hush
        self._waiting: asyncio.Queue[tuple[Future[None], Outcome, list[EventDoc], float]] = asyncio.Queue()

    def put(self, done: Future[None], out: Outcome, events: list[EventDoc]) -> None:
        """Told once `done`, or after `COMMIT_PATIENCE_S`."""
        self._waiting.put_nowait((done, out, events, self._now_s() + COMMIT_PATIENCE_S))

    async def one(self, in_trouble: Callable[[], bool]) -> None:
        """Wait for the next, and tell it; in trouble the journal is not waited for."""
        done, out, events, until_s = await self._waiting.get()
        patience_s = 0.0 if in_trouble() else max(0.0, until_s - self._now_s())
        await asyncio.wait({asyncio.wrap_future(done)}, timeout=patience_s)
        now_s = self._now_s()
        for exposure, key in out.hushes:
            self._desk.hush(exposure, key, now_s)
            self._on_hush(exposure, key)
        for ring in out.rings:
            known = self._bench.exposures.get(ring.exposure)
            if known is not None and ring.key in known.open_calls:
                self._desk.ring(ring, now_s)
                self.unanswered.ring(ring.exposure, ring.key)
        for event in events:
            self.unanswered.tell(event)
            self._on_event(event)
            self.followers.tell(event)
