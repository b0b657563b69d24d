"""Fixing: where an act cuts the light, once the segment is known in which it lies. Pure."""

from __future__ import annotations

from ..dose.account import MomentRun, Window, mark_between
from ..dose.integrator import HOLE_US
from ..dose.timebase import after_32
from ..model import Mark, MomentSegment, RegisterSegment, Segment


def overlap_us(w: Window, since_us: int, until_us: int) -> int:
    """How long a window was open between two moments."""
    end = until_us if w.stop is None else min(until_us, w.stop.t_us)
    return max(0, end - max(since_us, w.start.t_us))


def cuts(segment: Segment | MomentRun, mark: Mark) -> bool:
    """Whether a mark lies within a segment by the node's own uptime, which is what the account goes by.

    Dose time never goes back, so that by it the end of a segment may lie before a mark that cuts it.
    """
    if not isinstance(segment, RegisterSegment) or mark.boot != segment.boot or mark.uptime_ms is None:
        return False
    return after_32(mark.uptime_ms, segment.uptime1_ms) < 0


def better_mark(segment: Segment, mark: Mark, snap_us: int) -> Mark | None:
    """The mark fixed on the line that ends the segment, if that came at once; else between the segment's lines.

    None where the mark's own register, told from the level at its moment, is nearer to what is known. Where the node
    did not count on from the line that it was told from, or said nothing for long, only the moment is known.
    """
    if isinstance(segment, MomentSegment):
        # The node was off, or in a reset: its uptime stood still, and the one told for this moment was never to be.
        return Mark(mark.t_us) if mark.boot is not None else None
    if segment.t1_us - mark.t_us <= snap_us:
        return Mark(segment.t1_us, segment.boot, segment.uptime1_ms, segment.register1)
    told_us, left_us = mark.t_us - segment.t0_us, segment.t1_us - mark.t_us
    if segment.unread is not None and min(told_us, left_us) > HOLE_US:
        return Mark(mark.t_us)
    if mark.boot == segment.boot and mark.register is not None and mark.uptime_ms is not None and told_us <= left_us:
        strayed_us = after_32(mark.uptime_ms, segment.uptime0_ms) * 1000 - told_us
        if abs(strayed_us) <= snap_us:
            return None
    return mark_between(segment, mark.t_us)
