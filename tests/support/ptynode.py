"""A native node on a real pty that lives through a table of measured light, at a pace, and remembers the truth."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from uvdose.intake.node import Buzz, SimulatedNode
from uvdose.intake.pty_wire import PtyWire

from .paced import Paced

LONGEST_WAIT_S = 0.02


class Sent(NamedTuple):
    """A reading line the node said, whether or not anybody heard it."""

    uptime_ms: int
    register: int
    line: bytes


class PtyNode(Paced):
    """`with PtyNode(path, table) as node:` makes `path` a symlink to the pty of a running node.

    table_w_m2: one-minute means, the first of them from minute `start_minute` of the table on; held for 60 s each, the
    last for ever. counts_per_w_m2: the node's response. pace: node seconds in each real second. skip_s: node time
    already gone within the first minute. Before it is plugged in and while it is unplugged the node counts on.
    """

    def __init__(
        self,
        path: Path,
        table_w_m2: Sequence[float],
        *,
        start_minute: int = 0,
        counts_per_w_m2: float = 10.0,
        pace: float = 1.0,
        rate_hz: float = 1.0,
        full_scale: int = 1_000_000,
        zero: float = 0.0,
        boot: int = 0x1A2B3C4D,
    ) -> None:
        super().__init__(pace)
        self.path = path
        self._table = [value * counts_per_w_m2 for value in table_w_m2[start_minute:]]
        self.node = SimulatedNode(boot, self._light, full_scale, zero, rate_hz)
        self.sent: list[Sent] = []
        self.heard: list[bytes] = []
        self._wire: PtyWire | None = None
        self._guard = threading.Lock()
        self._away_s = 0.0  # node time that its clock does not count: before its power-up, and held in reset

    def _light(self, seconds: float) -> float:
        return self._table[min(int(seconds // 60), len(self._table) - 1)]

    @property
    def buzzes(self) -> list[Buzz]:
        """Buzzes that began, each with the true register at that moment."""
        return list(self.node.buzzes)

    def now_ms(self) -> int:
        """Node time now, since its power-up."""
        return int((self.now_s() - self._away_s) * 1000)

    def register_at(self, ms: int) -> int:
        """The true register at a node ms, from the table alone."""
        return self.node.total(ms)

    def press(self) -> None:
        """Press the node's button."""
        with self._guard:
            self._say(self.node.advance(self.now_ms()))  # a press lies at its own moment, not at the last step's
            self.node.press()

    def unplug(self) -> None:
        """Take the pty and its symlink away; the node goes on counting."""
        with self._guard:
            if self._wire is not None:
                self.path.unlink(missing_ok=True)
                self._wire.close()
                self._wire = None

    def plug(self) -> None:
        """Give the node a new pty under the same symlink."""
        with self._guard:
            if self._wire is None:
                self._wire = PtyWire()
                fresh = self.path.with_name(self.path.name + ".new")
                fresh.symlink_to(self._wire.path)
                fresh.replace(self.path)

    def _begin(self) -> None:
        self.plug()

    def _end(self) -> None:
        self.unplug()

    def _step(self) -> None:
        with self._guard:
            self._say(self.node.advance(self.now_ms()))
            lines = self._wire.read_lines(0) if self._wire is not None else []
            for line in lines:
                self.heard.append(line)
                self._say(self.node.command(line, self.now_ms()))

    def _pause_s(self) -> float:
        left_s = (self.node.next_line_ms - self.now_ms()) / 1000 / self.pace
        return min(max(left_s, 0.001), LONGEST_WAIT_S / 4)

    def _say(self, lines: list[bytes]) -> None:
        for line in lines:
            if line.startswith(b"uv1,"):
                words = line.split(b",")
                self.sent.append(Sent(int(words[3]), int(words[5]), line))
            if self._wire is not None:
                self._wire.write(line)


class Lamp(PtyNode):
    """A node under a light that is set by hand: `counts`, its zero not in it."""

    counts = 0.0

    def __init__(self, path: Path, **more: object) -> None:
        super().__init__(path, [0.0], **more)  # type: ignore[arg-type]

    def _light(self, seconds: float) -> float:
        return self.counts
