"""The gate of an exposure that begins when the light comes up and holds when it falls. Pure.

For a sensor that rides on the frame: the light of the sensor is then the light of the print. Thresholds have
hysteresis, and a change must last before it counts; it then counts from where it began.
"""

from __future__ import annotations

import msgspec

from ..model import Mark, RegisterReading, Segment
from ..units import US_PER_S
from .channel import Timed

SETTLE_S = 3.0
SLOWEST_S = 7200.0
OFF_SHARE = 0.5


class LightGate(msgspec.Struct, frozen=True):
    """on, off: W/m² (or the sensor's unit without a scale). settle_s: how long a change must last, dose time."""

    on: float
    off: float
    settle_s: float = SETTLE_S


def gate_for(target_base: float, on: float | None) -> LightGate:
    """The gate for a target: light that would print it within two hours, unless the person says how much."""
    up = target_base / SLOWEST_S if on is None else on
    return LightGate(up, up * OFF_SHARE)


class GateKeeper:
    """Watches the light for one exposure. Segments are kept back while it is not sure, and come with the answer."""

    def __init__(self, gate: LightGate, factor: float, zero: float) -> None:
        self._gate = gate
        self._factor = factor
        self._zero = zero
        self._since: Mark | None = None
        self._kept: list[Segment] = []

    def feed(self, timed: Timed, value: float, lit: bool) -> tuple[Mark | None, list[Segment]]:
        """One reading. lit: whether the exposure counts now.

        Returns the mark at which the light has changed (up when not lit, down when lit), or None; and the segments to
        add after that.
        """
        irradiance = self._factor * (value - self._zero)
        changes = irradiance < self._gate.off if lit else irradiance >= self._gate.on
        if not changes:
            kept, self._kept, self._since = [*self._kept, *timed.segments], [], None
            return None, kept
        if self._since is None:
            # The segment that ends here still belongs to what was before.
            self._since = _mark_at(timed)
            return None, list(timed.segments)
        self._kept += timed.segments
        if timed.t_us - self._since.t_us < self._gate.settle_s * US_PER_S:
            return None, []
        mark, self._since = self._since, None
        kept, self._kept = self._kept, []
        return mark, kept

    def release(self) -> list[Segment]:
        """What was kept back, when the person has acted and nothing is to be decided any more."""
        kept, self._kept, self._since = self._kept, [], None
        return kept


def _mark_at(timed: Timed) -> Mark:
    line = timed.reading
    if isinstance(line, RegisterReading):
        return Mark(timed.t_us, line.boot, line.uptime_ms, line.register)
    return Mark(timed.t_us)
