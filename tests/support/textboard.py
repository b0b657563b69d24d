"""A board of the simplest kind on a real pty: a bare value a line, nothing else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from uvdose.intake.pty_wire import PtyWire

from .paced import Paced


class TextBoard(Paced):
    """`with TextBoard(path, value) as board:` prints `say(value(s))` every period, s seconds after its start."""

    def __init__(
        self, path: Path, value: Callable[[float], float], *, period_s: float = 1.0, pace: float = 1.0,
        say: Callable[[float], str] = lambda v: f"{v:.6f}\r\n",
    ) -> None:
        super().__init__(pace)
        self.path = path
        self._value, self._period_s, self._say = value, period_s, say
        self._count = 0
        self._wire = PtyWire()

    def _begin(self) -> None:
        self.path.symlink_to(self._wire.path)

    def _end(self) -> None:
        self.path.unlink()
        self._wire.close()

    def _step(self) -> None:
        if self._count * self._period_s <= (now_s := self.now_s()):
            self._wire.write(self._say(self._value(now_s)).encode())
            self._count += 1

    def _pause_s(self) -> float:
        return max(0.0005, (self._count * self._period_s - self.now_s()) / self.pace)
