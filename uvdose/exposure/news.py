"""News: what a node's line tells beside its light. Pure."""

from __future__ import annotations

import msgspec

from ..dose.integrator import Point
from ..model import RegisterReading

ARMED_FLAG, REACHED_FLAG = 0x02, 0x04


class News(msgspec.Struct, frozen=True):
    """What a line told beside its light, against the one before: from t0_us to t1_us, register0 to register1.

    presses: of the button. called: an armed value was reached meanwhile.
    """

    sensor: str
    t0_us: int
    t1_us: int
    register0: int
    register1: int
    presses: int
    called: bool

    def moment_us(self, register: int) -> int:
        """When the register passed a value, by a straight line between the two lines."""
        span = self.register1 - self.register0
        share = min(1.0, max(0.0, (register - self.register0) / span)) if span > 0 else 1.0
        return self.t0_us + round(share * (self.t1_us - self.t0_us))


def news_of(sensor: str, last: Point | None, line: RegisterReading, t_us: int) -> News | None:
    """What is new; None for nothing, and where nothing compares: the first line, and another power-up's."""
    before = last.reading if last is not None else None
    if last is None or not isinstance(before, RegisterReading) or before.boot != line.boot:
        return None
    presses = max(0, line.presses - before.presses)  # 2^32 presses wear any button out
    called = bool(line.flags & REACHED_FLAG and not before.flags & REACHED_FLAG)
    if not presses and not called:
        return None
    return News(sensor, last.t_us, t_us, before.register, line.register, presses, called)
