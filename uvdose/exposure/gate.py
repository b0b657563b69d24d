"""The gate of an exposure that begins when the light comes up and holds when it falls. Pure.

For a sensor that rides on the frame: the light of the sensor is then the light of the print. Thresholds have
hysteresis, and a change must last before it counts; it then counts from where it began.
"""

from __future__ import annotations

from ..dose.integrator import reading_value
from ..model import Mark, RegisterReading, Segment
from ..units import US_PER_S
from .channel import Timed
from .record import ActRecord, LightGate

SLOWEST_S = 7200.0
OFF_SHARE = 0.5


def gate_for(target_base: float, on: float | None) -> LightGate:
    """The gate for a target: light that would print it within two hours, unless the person says how much."""
    up = target_base / SLOWEST_S if on is None else on
    return LightGate(up, up * OFF_SHARE)


class GateKeeper:
    """Watches the light for one exposure. Segments are kept back while it is not sure, and come with the answer.

    What it holds follows from the readings since the newest act, so that a replay of the journal comes to the same.
    since_us: readings up to then tell nothing of the light that is to come.
    """

    def __init__(self, gate: LightGate, factor: float, zero: float, since_us: int) -> None:
        self._gate = gate
        self._factor = factor
        self._zero = zero
        self._from_us = since_us
        self._decided_us: int | None = None
        self._overruled = False
        self._since: Mark | None = None
        self._kept: list[Segment] = []

    def feed(self, timed: Timed, lit: bool | None, decide: bool = True) -> tuple[Mark | None, list[Segment]]:
        """One reading. lit: whether the exposure counts now; None where nothing is to be decided by the light.

        Returns the mark at which the light has changed (up when not lit, down when lit), or None; and the segments to
        add after that. decide: False in a replay, since what was decided stands in the journal.
        """
        if lit is None:
            return None, [*self.release(), *timed.segments]
        if self._is_over(timed.t_us):
            return None, list(timed.segments)
        irradiance = self._factor * (reading_value(timed.reading) - self._zero)
        changes = irradiance < self._gate.off if lit else irradiance >= self._gate.on
        self._overruled = self._overruled and changes
        if not changes or self._overruled:
            return None, [*self.release(), *timed.segments]
        if self._since is None:
            # The segment that ends here still belongs to what was before.
            self._since = _mark_at(timed)
            return None, list(timed.segments)
        self._kept += timed.segments
        if not decide or timed.t_us - self._since.t_us < self._settle_us:
            return None, []
        mark = self._since
        return mark, self.release()

    def release(self) -> list[Segment]:
        """What was kept back, when there is nothing to be decided any more."""
        kept, self._kept, self._since = self._kept, [], None
        return kept

    @property
    def behind(self) -> Segment | None:
        """The first of what is kept back."""
        return self._kept[0] if self._kept else None

    def acted(self, t_us: int) -> list[Segment]:
        """The person has acted: what was kept back, and the light is watched anew from here on."""
        self._from_us = max(self._from_us, t_us)
        return self.release()

    def resume(self, newest: ActRecord) -> None:
        """Before a replay: its newest act. One by the light was decided at the first reading after it had settled; the
        person may have taken it back, and then the light must change again before it counts.
        """
        if newest.by_light:
            self._decided_us, self._overruled = newest.t_us + self._settle_us, newest.withdrawn
        else:
            self._from_us = max(self._from_us, newest.t_us)

    @property
    def _settle_us(self) -> int:
        return int(self._gate.settle_s * US_PER_S)

    def _is_over(self, t_us: int) -> bool:
        """Whether a reading belongs to what is decided already."""
        if self._decided_us is None:
            return t_us <= self._from_us
        if t_us >= self._decided_us:
            self._decided_us = None
        return True


def _mark_at(timed: Timed) -> Mark:
    line = timed.reading
    if isinstance(line, RegisterReading):
        return Mark(timed.t_us, line.boot, line.uptime_ms, line.register)
    return Mark(timed.t_us)
