"""The queue in the daemon: an entry leaves it when its print begins, and comes back when that start is taken back."""

from __future__ import annotations

from .. import queueing
from ..core import Core
from ..listed import QueueEntry
from ..notes import Queue
from .showing import Showing


class NextUp:
    """What becomes of the queue's entries. Runs on the daemon's loop, where nothing comes in between."""

    def __init__(self, core: Core, showing: Showing) -> None:
        self._core = core
        self._showing = showing
        self._begun: dict[int, QueueEntry] = {}
        self._back: set[int] = set()

    def check(self, entry: QueueEntry | None) -> None:
        """Raises `Refusal` for an entry that does not wait any more: of two who begin it at once only one does."""
        if entry is not None:
            queueing.without(self._showing.queue().entries, entry)

    def begun(self, exposure: int, entry: QueueEntry | None) -> None:
        """An exposure of this entry has begun."""
        if entry is not None:
            self._begun[exposure] = entry
            self._keep(queueing.without(self._showing.queue().entries, entry))

    def acted(self, exposure: int, void: bool) -> None:
        """An act was taken. Where a start is taken back, or a count-in cancelled, whose turn it was is next again."""
        entry, entries = self._begun.get(exposure), self._showing.queue().entries
        if entry is None or void == (exposure in self._back):
            return
        if void:
            self._back.add(exposure)
            self._keep((entry, *entries))
        else:
            self._back.discard(exposure)
            if entry in entries:
                self._keep(queueing.without(entries, entry))

    def _keep(self, entries: queueing.Entries) -> None:
        note = Queue(entries)
        noted = self._core.recorder.note("queue", queueing.BENCH, note, self._core.clock.wall_us())
        self._showing.noted(note, noted.id)
        self._core.commit(noted.statements)
