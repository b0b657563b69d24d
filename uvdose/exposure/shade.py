"""Shaded stretches: the sensor did not see the print's light, as the person says afterwards. Pure.

What the sensor measured there is left out, and a straight bridge drawn from the light before to the light after; up
to 60 s it counts as bridged, beyond as missing, as any hole does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ..dose.account import mark_between
from ..dose.integrator import BRIDGE_US
from ..model import Kind, MomentSegment, RegisterSegment, Segment
from ..units import US_PER_S

DOUBT = 0.2  # nothing is known of the light under a shade: its bridge may be off by a fifth, one standard deviation


class Shades:
    """The shaded stretches of one exposure, in order, not overlapping."""

    def __init__(self, stretches: list[tuple[int, int]]) -> None:
        self._todo = sorted(stretches)
        self._before = 0.0
        self._over_hole = False

    def through(self, segments: Iterable[Segment]) -> Iterator[Segment]:
        """Segments with the shaded stretches replaced. Call it with all segments, in order."""
        for segment in segments:
            yield from self._one(segment)

    def _one(self, s: Segment) -> Iterator[Segment]:
        while self._todo and s.t1_us > self._todo[0][0]:
            t0_us, t1_us = self._todo[0]
            if s.t0_us < t0_us:
                left, s = _cut(s, t0_us)
                yield left
            if s.t0_us <= t0_us:
                self._before, self._over_hole = _value(s, at_begin=True), False
            self._over_hole |= isinstance(s, MomentSegment) and s.kind is Kind.MISSING
            if s.t1_us <= t1_us:
                if s.t1_us < t1_us:
                    return
                self._todo.pop(0)
                yield self._bridge(t0_us, t1_us, _value(s, at_begin=False))
                return
            _, s = _cut(s, t1_us)
            self._todo.pop(0)
            yield self._bridge(t0_us, t1_us, _value(s, at_begin=True))
        yield s

    def _bridge(self, t0_us: int, t1_us: int, after: float) -> MomentSegment:
        before = self._before
        seconds = (t1_us - t0_us) / US_PER_S
        # What was missing before does not become dose by a shade laid over it.
        kind = Kind.MISSING if self._over_hole or t1_us - t0_us > BRIDGE_US else Kind.BRIDGED
        var = max(((after - before) * seconds) ** 2 / 12, (DOUBT * seconds * (before + after) / 2) ** 2)
        return MomentSegment(t0_us, t1_us, before, after, kind, var, 1.0, max(before, after))


def _value(s: Segment, at_begin: bool) -> float:
    if isinstance(s, MomentSegment):
        return s.value0 if at_begin else s.value1
    span_ms = max(1, (s.uptime1_ms - s.uptime0_ms) % (1 << 32))
    return (s.register1 - s.register0) / span_ms


def _cut(s: Segment, t_us: int) -> tuple[Segment, Segment]:
    """A segment cut in two at a moment inside it."""
    if isinstance(s, RegisterSegment) and s.unread is not None:
        s = s.unread
    if isinstance(s, RegisterSegment):
        m = mark_between(s, t_us)
        assert m.uptime_ms is not None and m.register is not None
        sat_ms = s.sat_ms * (t_us - s.t0_us) // max(1, s.t1_us - s.t0_us)
        return (
            RegisterSegment(s.t0_us, t_us, s.boot, s.uptime0_ms, m.uptime_ms, s.register0, m.register, sat_ms),
            RegisterSegment(
                t_us, s.t1_us, s.boot, m.uptime_ms, s.uptime1_ms, m.register, s.register1, s.sat_ms - sat_ms
            ),
        )
    value = s.value0 + (s.value1 - s.value0) * (t_us - s.t0_us) / (s.t1_us - s.t0_us)
    share = (t_us - s.t0_us) / (s.t1_us - s.t0_us)
    rest = 1 - share
    return (
        MomentSegment(s.t0_us, t_us, s.value0, value, s.kind, s.var * share**2, s.dof, s.peak, s.noise * share**2),
        MomentSegment(t_us, s.t1_us, value, s.value1, s.kind, s.var * rest**2, s.dof, s.peak, s.noise * rest**2),
    )
