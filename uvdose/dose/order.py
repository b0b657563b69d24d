"""Order: each reading once, and in order. What a broker delivers again, or in another order, must not count twice.

A register reading needs no window: the register itself holds all that came before, so an older line adds nothing.
A momentary value that carries a running number or a time may have been overtaken: the one after a gap waits up to
two seconds for those missing. Without either nothing can be told, and it passes as it came.
"""

from __future__ import annotations

from ..model import MomentReading, RegisterReading
from .timebase import after_32

WINDOW = 64
PATIENCE_US = 2_000_000
POWER_UP_SLACK_US = 2_000_000
INSISTS = 5
_RESTART_AFTER = 3
_LOOK_BACK = 9


class RegisterOrder:
    """Lets a node's lines pass once each. `late` counts those that came twice, out of order or from elsewhere.

    A new power-up cannot have been up for longer than since the last line of the one before. A line that says so is an
    old one that was held up, or another node's; only when several come on end, and none of the boot that was heard,
    is it believed (the clocks may have been wrong over a reboot of the host).
    """

    def __init__(self) -> None:
        self._boot: int | None = None
        self._seq = 0
        self._other: list[int] = []
        self._other_boot: int | None = None
        self.late = 0

    def admit(self, line: RegisterReading, elapsed_us: int | None = None) -> bool:
        """True for a line that is new. elapsed_us: dose time since the last line; None when there was none."""
        if line.boot != self._boot:
            if self._boot is not None and not self._is_power_up(line, elapsed_us) and not self._insists(line):
                self.late += 1
                return False
        elif after_32(line.seq, self._seq) <= 0:
            self.late += 1
            return False
        self.resume(line)
        return True

    def resume(self, line: RegisterReading) -> None:
        """A line that was admitted, now or in an earlier run."""
        self._boot, self._seq = line.boot, line.seq
        self._other_boot, self._other = None, []

    @staticmethod
    def _is_power_up(line: RegisterReading, elapsed_us: int | None) -> bool:
        return elapsed_us is not None and line.uptime_ms * 1000 <= elapsed_us + elapsed_us // 50 + POWER_UP_SLACK_US

    def _insists(self, line: RegisterReading) -> bool:
        if line.boot != self._other_boot or (self._other and after_32(line.seq, self._other[-1]) <= 0):
            self._other_boot, self._other = line.boot, []
        self._other.append(line.seq)
        return len(self._other) >= INSISTS


class MomentOrder:
    """Puts momentary values in order by their running number, else by their own time."""

    def __init__(self, pace: float = 1.0) -> None:
        self._patience_us = int(PATIENCE_US * pace)
        self._key: float | None = None
        self._seen: dict[float, MomentReading] = {}
        self._steps: list[float] = []
        self._held: dict[float, tuple[MomentReading, int]] = {}
        self._behind: list[float] = []
        self.late = 0
        self.restarts = 0

    def feed(self, reading: MomentReading, arrival_us: int) -> list[tuple[MomentReading, int]]:
        """Readings that are now in order, each with its arrival; none for a doubled one, several after a wait."""
        key = float(reading.seq) if reading.seq is not None else reading.source_s
        if key is None:
            return [(reading, arrival_us)]
        if self._key is not None and key <= self._key:
            if not self._is_restart(key, reading):
                self.late += 1
                return []
            self._restart()
        self._behind.clear()
        if key in self._held:
            self.late += 1
            return []
        self._held[key] = (reading, arrival_us)
        return self._release(arrival_us)

    def due(self, now_us: int) -> list[tuple[MomentReading, int]]:
        """Readings whose wait for a missing one is over."""
        return self._release(now_us)

    def due_us(self) -> int | None:
        """When the wait of the oldest held reading ends."""
        return min((arrival for _, arrival in self._held.values()), default=None) if self._held else None

    def wait_us(self) -> int:
        """How long a reading waits for one that is missing."""
        return self._patience_us

    def _is_restart(self, key: float, reading: MomentReading) -> bool:
        """The source began to count again: far behind, the same number with other content, or going on behind."""
        known = self._seen.get(key)
        if reading.seq is not None:
            return known != reading if known is not None else self._key is not None and self._key - key > WINDOW
        if known is not None:
            return False
        self._behind.append(key)
        rising = all(a < b for a, b in zip(self._behind, self._behind[1:], strict=False))
        if not rising:
            self._behind = [key]
        return len(self._behind) >= _RESTART_AFTER

    def _restart(self) -> None:
        self.restarts += 1
        self._key = None
        self._seen.clear()
        self._held.clear()
        self._steps.clear()

    def _usual_step(self) -> float | None:
        return sorted(self._steps)[len(self._steps) // 2] if len(self._steps) >= 3 else None

    def _release(self, now_us: int) -> list[tuple[MomentReading, int]]:
        out: list[tuple[MomentReading, int]] = []
        while self._held:
            key = min(self._held)
            reading, arrival_us = self._held[key]
            if self._key is not None and self._leaves_gap(key, reading):
                oldest = min(arrival for _, arrival in self._held.values())
                if now_us - oldest < self._patience_us and len(self._held) < WINDOW:
                    break
            del self._held[key]
            if self._key is not None:
                self._steps = [*self._steps[1 - _LOOK_BACK :], key - self._key]
            self._key = key
            self._seen[key] = reading
            if len(self._seen) > WINDOW:
                del self._seen[next(iter(self._seen))]
            out.append((reading, arrival_us))
        return out

    def _leaves_gap(self, key: float, reading: MomentReading) -> bool:
        assert self._key is not None
        if reading.seq is not None:
            return key - self._key > 1
        step = self._usual_step()
        return step is not None and key - self._key > 1.5 * step
