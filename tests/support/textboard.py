"""A board of the simplest kind on a real pty: a bare value a line, nothing else."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from uvdose.intake.pty_wire import PtyWire


class TextBoard:
    """`with TextBoard(path, value) as board:` prints `say(value(s))` every period, s seconds after its start."""

    def __init__(
        self, path: Path, value: Callable[[float], float], *, period_s: float = 1.0, pace: float = 1.0,
        say: Callable[[float], str] = lambda v: f"{v:.6f}\r\n",
    ) -> None:
        self.path, self.pace, self.started_s = path, pace, 0.0
        self._value, self._period_s, self._say = value, period_s, say
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._wire = PtyWire()

    def now_s(self) -> float:
        return (time.monotonic() - self.started_s) * self.pace

    def __enter__(self) -> TextBoard:
        self.path.symlink_to(self._wire.path)
        self.started_s = time.monotonic()
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        self._stop.set()
        self._thread.join(5)
        self.path.unlink()
        self._wire.close()

    def _run(self) -> None:
        count = 0
        while not self._stop.wait(max(0.0005, (count * self._period_s - self.now_s()) / self.pace)):
            if count * self._period_s <= (now_s := self.now_s()):
                self._wire.write(self._say(self._value(now_s)).encode())
                count += 1
