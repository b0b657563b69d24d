"""The outlook for whoever asks the daemon: reckoned in a thread, one at a time, and shared for a minute.

What reckons is loaded when the first one asks: a daemon that nobody asks stays as small as it was.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING

from .clock import Clock
from .config import Settings
from .foretold import OutlookDoc
from .journal.store import Store
from .model import Refusal

if TYPE_CHECKING:
    from .ahead import Ahead

FRESH_S = 60.0
KEEP = 16
MOST_TARGETS, MAX_TEXT = 16, 200


class Foresight:
    """open_store: a store with a connection of its own, for a thread."""

    def __init__(self, settings: Settings, clock: Clock, open_store: Callable[[], Store]) -> None:
        self._settings = settings
        self._clock = clock
        self._open_store = open_store
        self._ahead: Ahead | None = None
        self._known: dict[tuple[tuple[str, ...], str | None, str | None], tuple[float, int, OutlookDoc]] = {}
        self._turn = asyncio.Lock()

    async def outlook(self, names: list[str], date: str | None, sensor: str | None, revision: int) -> OutlookDoc:
        """Of these targets (none: all that fit), today or on a date, by the light of a sensor where it is named.

        revision: of what may be chosen; where it has changed, nothing of before is told. Raises `Refusal`.
        """
        if len(names) > MOST_TARGETS or any(len(text) > MAX_TEXT for text in (*names, date or "", sensor or "")):
            raise Refusal(f"outlook: give at most {MOST_TARGETS} targets a date and a sensor", 2)
        question = (tuple(dict.fromkeys(names)), date, sensor)
        async with self._turn:  # the reader of the journal is one
            known = self._known.get(question)
            if known is not None and known[1] == revision and self._clock.real_s() - known[0] < FRESH_S:
                return known[2]
            doc = await asyncio.to_thread(self._look, *question, self._clock.wall_us())
            self._known[question] = (self._clock.real_s(), revision, doc)
            while len(self._known) > KEEP:
                self._known.pop(next(iter(self._known)))
            return doc

    def _look(self, names: tuple[str, ...], date: str | None, sensor: str | None, now_us: int) -> OutlookDoc:
        from .ahead import Ahead, Question

        if self._ahead is None:
            self._ahead = Ahead(self._settings)
        store = self._open_store()
        try:
            return self._ahead.look(store, Question(names, date, sensor=sensor), now_us)
        finally:
            store.db.close()
