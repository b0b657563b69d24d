"""What links have handed over and the loop has not yet taken, bounded for each sensor.

A link whose sensor is over its bound waits in its own thread, so that it reads no more, and the kernel, the wire or the
broker holds the rest. What does not fit there is lost as it is with a reader that is too slow: bad input, or a gap in
the running numbers, both told. Other sensors go on meanwhile.
"""

from __future__ import annotations

import threading
from collections import Counter, deque

from .link import Chunk, LinkState

WAITING_BYTES = 128 << 10
WAITING_CHUNKS = 4096  # a message of a few bytes costs more than its bytes
FLOOD_S, CROWDED_S = 3.0, 5.0  # how long a link must have had to wait, and how long since, for an alarm


class Waiting:
    """A queue for any number of threads that put, and one that takes."""

    def __init__(self, most_bytes: int = WAITING_BYTES, most_chunks: int = WAITING_CHUNKS) -> None:
        self._most_bytes, self._most_chunks = most_bytes, most_chunks
        self._items: deque[Chunk | LinkState] = deque()
        self._room = threading.Condition()
        self._bytes: Counter[str] = Counter()
        self._chunks: Counter[str] = Counter()
        self._waiters = 0
        self._crowded: set[str] = set()
        self._crowded_s: dict[str, tuple[float, float]] = {}
        self._ending = False

    def put(self, item: Chunk | LinkState) -> None:
        """Put something in; a chunk of a sensor that is over its bound waits for room. Not for the taking thread."""
        with self._room:
            if isinstance(item, Chunk):
                name = item.sensor
                if self._over(name):
                    self._crowded.add(name)
                    self._waiters += 1
                    self._room.wait_for(lambda: not self._over(name))
                    self._waiters -= 1
                self._bytes[name] += len(item.data)
                self._chunks[name] += 1
            self._items.append(item)

    def take(self) -> Chunk | LinkState | None:
        """The oldest; None when there is none."""
        with self._room:
            if not self._items:
                return None
            item = self._items.popleft()
            if isinstance(item, Chunk):
                self._bytes[item.sensor] -= len(item.data)
                self._chunks[item.sensor] -= 1
                if self._waiters:
                    self._room.notify_all()
            return item

    def __len__(self) -> int:
        return len(self._items)

    def crowded(self) -> set[str]:
        """Sensors whose link had to wait since this was last asked."""
        with self._room:
            found, self._crowded = self._crowded, set()
            return found

    def floods(self, now_s: float) -> dict[str, bool]:
        """Sensors that send more than can be worked through, or have ceased to; for the taking thread.

        A backlog that comes at once after a break is no flood.
        """
        for sensor in self.crowded():
            since_s, _ = self._crowded_s.get(sensor, (now_s, now_s))
            self._crowded_s[sensor] = since_s, now_s
        found: dict[str, bool] = {}
        for sensor, (since_s, last_s) in list(self._crowded_s.items()):
            over = now_s - last_s > CROWDED_S
            if over:
                del self._crowded_s[sensor]
            if over or last_s - since_s >= FLOOD_S:
                found[sensor] = not over
        return found

    def end(self) -> None:
        """Nobody waits any more: the links are about to be stopped."""
        with self._room:
            self._ending = True
            self._room.notify_all()

    def _over(self, name: str) -> bool:
        over = self._bytes[name] >= self._most_bytes or self._chunks[name] >= self._most_chunks
        return over and not self._ending
