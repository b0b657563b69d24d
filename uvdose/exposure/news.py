"""News: what a node's line tells beside its light. Pure."""

from __future__ import annotations

import msgspec

from ..dose.integrator import Point
from ..dose.timebase import WRAP_32
from ..model import Mark, RegisterReading

ARMED_FLAG, REACHED_FLAG = 0x02, 0x04


class News(msgspec.Struct, frozen=True):
    """What a line told beside its light, against the one before: from t0_us and register0 to its own mark.

    presses: of the button. called: an armed value has been reached, now or before: which one, `passed` tells.
    """

    sensor: str
    t0_us: int
    register0: int
    mark: Mark
    presses: int
    called: bool

    def passed(self, register: int) -> bool:
        """Whether the register passed a value between the two lines."""
        return self.register0 < register <= (self.mark.register or 0)

    def moment_us(self, register: int) -> int:
        """When the register passed a value, by a straight line between the two lines."""
        span = (self.mark.register or 0) - self.register0
        share = min(1.0, max(0.0, (register - self.register0) / span)) if span > 0 else 1.0
        return self.t0_us + round(share * (self.mark.t_us - self.t0_us))

    def at_uptime_us(self, uptime_ms: int) -> int:
        """The dose time of a moment that the node names, before its line."""
        return self.mark.t_us - ((self.mark.uptime_ms or 0) - uptime_ms) % WRAP_32 * 1000


class Press(msgspec.Struct, frozen=True):
    """A press that the bench could not act on: one that is to begin the last print anew, or why it does nothing."""

    sensor: str
    refused: str = ""


def news_of(sensor: str, last: Point | None, line: RegisterReading, t_us: int) -> News | None:
    """What is new; None for nothing, and where nothing compares: the first line, and another power-up's."""
    before = last.reading if last is not None else None
    if last is None or not isinstance(before, RegisterReading) or before.boot != line.boot:
        return None
    presses = max(0, line.presses - before.presses)  # 2^32 presses wear any button out
    called = bool(line.flags & REACHED_FLAG) and line.register > before.register
    if not presses and not called:
        return None
    mark = Mark(t_us, line.boot, line.uptime_ms, line.register)
    return News(sensor, last.t_us, before.register, mark, presses, called)
