"""What every node of the tests is: something that begins, takes a step again and again in a thread, and ends."""

from __future__ import annotations

import threading
import time
from types import TracebackType
from typing import Self

JOIN_S = 5.0


class Paced:
    """`with node:` runs it. pace: node seconds in each real second. A fault in its thread is raised at the end."""

    def __init__(self, pace: float) -> None:
        self.pace = pace
        self.started_s = 0.0
        self.fault: BaseException | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=type(self).__name__, daemon=True)

    def now_s(self) -> float:
        """Node time since the start, in seconds."""
        return (time.monotonic() - self.started_s) * self.pace

    def __enter__(self) -> Self:
        self._begin()
        self.started_s = time.monotonic()
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        self._stop.set()
        self._thread.join(JOIN_S)
        self._end()
        if kind is None and self.fault is not None:
            raise self.fault

    def _run(self) -> None:
        try:
            while not self._stop.wait(self._pause_s()):
                self._step()
        except BaseException as err:
            self.fault = err

    def _begin(self) -> None:
        """Connect."""
        raise NotImplementedError

    def _end(self) -> None:
        """Disconnect."""
        raise NotImplementedError

    def _step(self) -> None:
        """What is due by now."""
        raise NotImplementedError

    def _pause_s(self) -> float:
        """Real seconds until the next step."""
        return 0.003
