"""How often somebody may ask: each address has a bucket of so many requests, which fills again at a steady pace."""

from __future__ import annotations

from collections.abc import Callable

from ..clock import real_s

MOST_ADDRESSES = 4096


class Rates:
    """Buckets by address. burst: what a full one holds. per_s: how fast it fills. now_s: monotonic seconds."""

    def __init__(self, burst: float, per_s: float, now_s: Callable[[], float] = real_s) -> None:
        self._burst = burst
        self._per_s = per_s
        self._now_s = now_s
        self._kept: dict[str, tuple[float, float]] = {}

    def take(self, address: str) -> bool:
        """Take one out; False when the bucket is empty."""
        left = self._left(address)
        if left < 1:
            return False
        if address not in self._kept and len(self._kept) >= MOST_ADDRESSES:
            self._make_room()
        self._kept[address] = left - 1, self._now_s()
        return True

    def empty(self, address: str) -> bool:
        """Whether the next one would be refused."""
        return self._left(address) < 1

    def wait_s(self, address: str) -> int:
        """Whole seconds until the next one is let through, at least 1."""
        return max(1, -int(-(1 - self._left(address)) // self._per_s))

    def _left(self, address: str) -> float:
        left, then_s = self._kept.get(address, (self._burst, 0.0))
        return min(self._burst, left + (self._now_s() - then_s) * self._per_s)

    def _make_room(self) -> None:
        """Full buckets say nothing; if all have something to say, the emptiest keep saying it."""
        for address in sorted(self._kept, key=self._left, reverse=True)[: MOST_ADDRESSES // 2]:
            del self._kept[address]
