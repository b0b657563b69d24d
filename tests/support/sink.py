"""A sink that remembers what a link gave, and waits for it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from uvdose.intake.link import Chunk, LinkState


class Gathered:
    """Call it as a sink. `wait_for` looks again at each thing that comes."""

    def __init__(self) -> None:
        self.all: list[Chunk | LinkState] = []
        self._news = threading.Condition()

    def __call__(self, item: Chunk | LinkState) -> None:
        with self._news:
            self.all.append(item)
            self._news.notify_all()

    @property
    def chunks(self) -> list[Chunk]:
        return [item for item in list(self.all) if isinstance(item, Chunk)]

    @property
    def states(self) -> list[LinkState]:
        return [item for item in list(self.all) if isinstance(item, LinkState)]

    @property
    def data(self) -> bytes:
        """All bytes that came, joined."""
        return b"".join(chunk.data for chunk in self.chunks)

    def wait_for(self, true: Callable[[], bool], seconds: float = 10.0) -> bool:
        """Whether it became true in time."""
        end = time.monotonic() + seconds
        with self._news:
            while not true():
                left = end - time.monotonic()
                if left <= 0:
                    return False
                self._news.wait(min(left, 0.2))
        return True

    def wait_state(self, up: bool, word: str = "", seconds: float = 10.0) -> LinkState:
        """The last state, once it is this one. Fails the test when it does not come."""

        def there() -> bool:
            states = self.states
            return bool(states) and states[-1].up == up and word in states[-1].why

        assert self.wait_for(there, seconds), f"wanted up={up} {word!r}, got {self.states}"
        return self.states[-1]
