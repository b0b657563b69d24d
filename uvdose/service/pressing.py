"""Presses of a node's button that begin a print, or do nothing. Runs on the daemon's loop."""

from __future__ import annotations

import asyncio

from ..asked import StartRequest
from ..core import Core
from ..exposure.news import Press
from ..journal.store import Store
from ..model import Refusal
from ..units import US_PER_S
from .service import BenchService

SAME_AGAIN_US = 12 * 3600 * US_PER_S  # a press begins the last target anew within this
NO_BUZZ, STARTED_BUZZ = "buzz 6 1", "buzz 1 1"


class Button:
    """Give `pressed` to the core. A start that is refused is told, and sounds."""

    def __init__(self, core: Core, service: BenchService, store: Store) -> None:
        self._core = core
        self._service = service
        self._store = store
        self._starts: set[asyncio.Task[None]] = set()

    def pressed(self, press: Press) -> None:
        """One that the bench could not act on: it begins the last print anew, or sounds that it did nothing."""
        if press.refused:
            self._core.beep(press.sensor, NO_BUZZ)
            return
        task = asyncio.ensure_future(self._start(press.sensor))
        self._starts.add(task)
        task.add_done_callback(self._starts.discard)

    async def _start(self, sensor: str) -> None:
        """The last target that was printed in this light, on its frame."""
        core = self._core
        try:
            since_us = core.clock.wall_us() - SAME_AGAIN_US
            last = next((k for k in reversed(self._store.between(since_us, 1 << 62)) if k.plan.sensor == sensor), None)
            if last is None or last.plan.part is not None or not last.plan.target.version:
                raise Refusal("nothing was printed lately that it could begin anew: begin one on the page")
            taken = await self._service.start(StartRequest(last.plan.target.name, sensor, last.plan.frame))
        except Refusal as err:
            core.beep(sensor, NO_BUZZ)
            core.tell_fact("pressed", None, sensor, {"line": err.line})
        else:
            assert taken.exposure is not None
            core.beep(sensor, STARTED_BUZZ)
            core.tell_fact("pressed", taken.exposure.id, sensor, {"what": "start"})
