"""What befalls the journal and the home while the daemon runs: noticed, told, and written down as events."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from .config import Home
from .core import Core
from .exposure.outcome import Outcome
from .home import lock_identity
from .journal.place import Place
from .journal.writer import Writer
from .model import Fact


class Upkeep:
    """Runs on the daemon's loop. `attach` it before anything is told."""

    def __init__(self, home: Home, place: Place, say: Callable[[str], None]) -> None:
        self._home = home
        self._place = place
        self._say = say
        self._loop = asyncio.get_running_loop()
        self._locked = lock_identity(home)
        self._troubles: list[str] = []
        self._given_up = 0
        self._core: Core
        self._writer: Writer

    def attach(self, core: Core, writer: Writer) -> None:
        """The core that is told, and the writer that is asked."""
        self._core, self._writer = core, writer

    def on_trouble(self, line: str) -> None:
        """From the writer's thread: the journal cannot be written, or (an empty line) can be again."""
        self._loop.call_soon_threadsafe(self._troubles.append, line)

    def look(self) -> None:
        """Files that are taken away under a daemon are told, also while there is nothing to be written."""
        if not self._core.trouble and self._place.fault():
            self._core.commit([])  # the writer finds it, and goes on as for any disk that fails
        if self._locked is not None and lock_identity(self._home) != self._locked:
            self._locked = None
            line = f"{self._home.lock_file} was removed while the daemon runs: start no second one for this home"
            self._say(f"ALARM {line}")
            self.tell("alarm", line)
        for line in self._troubles:
            self._tell_trouble(line)
        self._troubles.clear()

    def troubled(self, line: str, over: str, what: str) -> None:
        """A trouble has come; or it is over, where the line is empty."""
        self._say(f"ALARM {line}" if line else over)
        self.tell("alarm" if line else "cleared", line or over, what)

    def tell(self, name: str, line: str, what: str = "journal") -> None:
        """What befell the journal, as an event in it; while it cannot be written the event waits with the rest."""
        out = Outcome()
        out.facts.append(Fact(self._core.clock.dose_us(), name, None, None, {"alarm": what, "line": line}))
        self._core.settle(out)

    def _tell_trouble(self, line: str) -> None:
        self._core.trouble = f"the journal cannot be written: {line}" if line else ""
        if line:
            self._say(f"ALARM {self._core.trouble}; calls go on")
            self.tell("alarm", self._core.trouble)
            return
        lost = self._writer.given_up - self._given_up
        self._given_up = self._writer.given_up
        again = f"the journal is written again; {f'{lost} readings were lost' if lost else 'nothing was lost'}"
        self._say(again)
        self.tell("cleared", again)
