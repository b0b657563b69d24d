"""The daemon's terminal. A terminal that stands still (Ctrl-S, a full pipe) must not stop the count."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable

BOUND = 500
LAST_WORDS_S = 1.0

Said = Callable[[], None] | None


class Speaker:
    """Prints lines from a thread of its own; when too many wait, the newest are dropped and counted."""

    def __init__(self, say: Callable[[str], None]) -> None:
        self._say = say
        self._queue: queue.Queue[tuple[str, Said] | None] = queue.Queue(BOUND)
        self._dropped = 0
        self._thread = threading.Thread(target=self._run, name="terminal", daemon=True)
        self._thread.start()

    def say(self, line: str, said: Said = None) -> None:
        """Hand a line over; never blocks. said: is told from the speaker's thread when the terminal has taken it."""
        try:
            self._queue.put_nowait((line, said))
        except queue.Full:
            self._dropped += 1

    def close(self) -> None:
        """Print what waits, as far as the terminal takes it within a second."""
        with contextlib.suppress(queue.Full):
            self._queue.put(None, timeout=LAST_WORDS_S)
        self._thread.join(LAST_WORDS_S)

    def _run(self) -> None:
        while (next_one := self._queue.get()) is not None:
            line, said = next_one
            with contextlib.suppress(OSError, ValueError):  # a terminal that is gone is no reason to end
                if self._dropped:
                    dropped, self._dropped = self._dropped, 0
                    self._say(f"({dropped} lines were dropped while this terminal stood still)")
                self._say(line)
                if said is not None:
                    said()
