"""What a native node's lines tell of the light between them: differences of register and uptime, across resets."""

from __future__ import annotations

from typing import NamedTuple

from ..model import RegisterReading
from ..units import US_PER_S
from .timebase import STEP_US, WRAP_32, after_32

RESET_FLAG = 0x08
SLACK_US = 2 * US_PER_S
LEAP, LEAP_SLACK_MS = 1.5, 1000  # full scales, and ms: what settings and a node's clock may be off by
WENT_BACK_MS = 3_600_000  # an uptime that lies less than this before the last one has not gone round, but back


class Told(NamedTuple):
    """From begin_us (dose time) to the later line the register counted on from register0, its uptime from uptime0_ms.

    What lies between the earlier line and begin_us nobody measured. sat_ms: saturated time since begin_us.
    """

    begin_us: int
    uptime0_ms: int
    register0: int
    sat_ms: int


def is_leap(r0: RegisterReading, r1: RegisterReading, full_scale: float | None) -> bool:
    """Whether a register rose (counts x ms) by more than any light can have made it rise between two lines.

    Told where a full scale is known; one that is set too low is overruled by what the lines themselves say.
    """
    if full_scale is None:
        return False
    span_ms, went_on = _span(r0, r1)
    rise, over_ms = (r1.register - r0.register, span_ms) if went_on else (r1.register, r1.uptime_ms)
    most = max(full_scale, r0.level_milli / 1000, r1.level_milli / 1000)
    return rise > LEAP * most * (over_ms + LEAP_SLACK_MS)


def told_between(t0_us: int, r0: RegisterReading, t1_us: int, r1: RegisterReading, hole_us: int) -> Told | None:
    """What the second of two neighbouring lines tells, each with its dose time; None where it tells nothing.

    hole_us: a pause longer than this is a hole. Ask `is_leap` first.
    """
    span_ms, went_on = _span(r0, r1)
    if went_on and r1.register >= r0.register:
        lost_us = (t1_us - t0_us) - span_ms * 1000
        # A node that still says it was reset was reset once more where its uptime went on as between any two lines,
        # and its clock was found to have stood still (`timebase` follows that where lines agree on it).
        again = span_ms * 1000 <= hole_us and lost_us > STEP_US
        was_reset = r1.flags & RESET_FLAG and (not r0.flags & RESET_FLAG or again)
        begin_us = t0_us + lost_us if was_reset and lost_us > 0 else t0_us
        return Told(begin_us, r0.uptime_ms, r0.register, _counted_ms(r0.sat_ms, r1.sat_ms, span_ms))
    if went_on or t1_us - r1.uptime_ms * 1000 < t0_us - SLACK_US - (t1_us - t0_us) // 50:
        # A register that fell without a power-up; or up for longer than since the last line, so that what its
        # register holds lies, in part, before that line. Neither tells what fell in between.
        return None
    # Another power-up: the register counts from 0 at uptime 0, and only the time before that is a hole.
    return Told(max(t0_us, t1_us - r1.uptime_ms * 1000), 0, 0, _counted_ms(0, r1.sat_ms, r1.uptime_ms))


def _span(r0: RegisterReading, r1: RegisterReading) -> tuple[int, bool]:
    """Uptime between two lines, and whether the node went on from the one to the other without a power-up."""
    span_ms = (r1.uptime_ms - r0.uptime_ms) % WRAP_32
    return span_ms, r1.boot == r0.boot and span_ms < WRAP_32 - WENT_BACK_MS


def _counted_ms(sat0_ms: int, sat1_ms: int, span_ms: int) -> int:
    """Saturated ms that the node counted between two lines: a lost line loses none of it."""
    return min(span_ms, max(0, after_32(sat1_ms, sat0_ms)))
