"""Where an act cuts the light: which segment its mark lies in, and what the segment says of the mark. Pure."""

from __future__ import annotations

from ..dose.account import Window, mark_between
from ..dose.timebase import after_32
from ..model import Mark, RegisterSegment, Segment


def overlap_us(w: Window, since_us: int, until_us: int) -> int:
    """How long a window was open between two moments."""
    end = until_us if w.stop is None else min(until_us, w.stop.t_us)
    return max(0, end - max(since_us, w.start.t_us))


def cuts(segment: Segment, mark: Mark) -> bool:
    """Whether a mark lies within a segment by the node's own uptime, which is what the account goes by.

    Dose time never goes back, so that by it the end of a segment may lie before a mark that cuts it.
    """
    if not isinstance(segment, RegisterSegment) or mark.boot != segment.boot or mark.uptime_ms is None:
        return False
    return after_32(mark.uptime_ms, segment.uptime1_ms) < 0


def better_mark(segment: RegisterSegment, mark: Mark, snap_us: int) -> Mark | None:
    """The mark fixed on the line that ends the segment, if that came at once; else between the segment's lines.

    None where the mark's own register, told from the level at its moment, is nearer to what is known.
    """
    if segment.t1_us - mark.t_us <= snap_us:
        return Mark(segment.t1_us, segment.boot, segment.uptime1_ms, segment.register1)
    told_s = mark.t_us - segment.t0_us
    if mark.boot == segment.boot and mark.register is not None and told_s <= segment.t1_us - mark.t_us:
        return None
    return mark_between(segment, mark.t_us)
