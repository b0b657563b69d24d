"""What a bad wire does to lines or messages: loses, doubles, swaps, delays, cuts and damages them, by a seeded draw."""

from __future__ import annotations

import random
import time
from typing import TypeVar

T = TypeVar("T")

STORM = ("", "lose", "double", "reorder", "half", "flip")
SHARE = 0.3
REORDER_DEPTH = 4
BURST_S = 60.0


class Wire:
    """Give it what is sent, in order; it gives back what arrives. A mode is switched on and off while it runs.

    lose: 30 % never arrive. double: 30 % come twice, some of them after the next. reorder: swapped within four.
    burst: held back, and delivered at once every 60 s of dose time. half: 40 % are cut off inside, with no line end.
    flip: 40 % have some of their bits turned over. nul: NUL bytes between and inside lines. storm: all but burst.
    """

    def __init__(self, rng: random.Random, pace: float) -> None:
        self.mode = ""
        self._rng = rng
        self._burst_real_s = BURST_S / pace
        self._held: list[object] = []
        self._held_since_s = 0.0

    def calm(self) -> None:
        """From the next line on all is well again; what was held back comes before it."""
        self.mode = ""

    def arrive(self, item: T) -> list[T]:
        """What arrives when this is sent."""
        mode = self.mode if self.mode != "storm" else self._rng.choice(STORM)
        if mode == "burst":
            return self._burst(item)
        if mode == "reorder":
            return self._reorder(item)
        before = self._give()
        hit = self._rng.random() < SHARE
        if mode == "lose" and hit:
            return before
        if mode == "double" and hit:
            if self._rng.random() < 0.5:
                self._held.append(item)
            return [*before, item, item] if not self._held else [*before, item]
        if mode in ("half", "flip", "nul") and isinstance(item, bytes) and self._rng.random() < 0.4:
            return [*before, self._damage(item, mode)]  # type: ignore[list-item]
        return [*before, item]

    def _give(self) -> list[T]:
        held, self._held = self._held, []
        return held  # type: ignore[return-value]

    def _burst(self, item: T) -> list[T]:
        now_s = time.monotonic()
        if not self._held:
            self._held_since_s = now_s
        self._held.append(item)
        return self._give() if now_s - self._held_since_s >= self._burst_real_s else []

    def _reorder(self, item: T) -> list[T]:
        self._held.append(item)
        if len(self._held) < REORDER_DEPTH:
            return []
        held: list[T] = self._give()
        self._rng.shuffle(held)
        return held

    def _damage(self, line: bytes, mode: str) -> bytes:
        rng = self._rng
        if mode == "half":
            return line[: rng.randrange(1, len(line))]
        damaged = bytearray(line)
        if mode == "flip":
            for _ in range(rng.choice([1, 1, 2, 3, 9])):
                damaged[rng.randrange(len(damaged))] ^= 1 << rng.randrange(8)
            return bytes(damaged)
        if rng.random() < 0.5:
            return b"\0" * rng.randrange(1, 300) + line
        damaged[rng.randrange(len(damaged))] = 0
        return bytes(damaged)
