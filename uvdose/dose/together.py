"""Together: a node's lines that came at once and tell nothing but light, added as one segment. Pure.

A backlog, a flood and a recount are counted so. What is added as one is what its lines add one after the other, to the
last bit: registers telescope, and whatever may make a line tell more (a press, a reset, a leap, a hole, full scale, a
value that stands still, noise) leaves the whole to be taken line by line.
"""

from __future__ import annotations

from operator import lt, sub
from typing import NamedTuple

from ..model import RegisterReading, RegisterRun, RegisterSegment
from .integrator import HOLE_US, Track
from .lines import LEAP, LEAP_SLACK_MS, RESET_FLAG
from .timebase import HALF_32


class Together(NamedTuple):
    """Lines that follow on a track's newest reading: their dose times, their values, and the light that they closed."""

    run: RegisterRun
    t_us: list[int]
    values: list[float]
    segment: RegisterSegment


def counts_on(last: RegisterReading, run: RegisterRun) -> bool:
    """Whether a node counted on from a line through a run, in order, and nothing but its light went on."""
    n = len(run)
    return (
        not run.flags & RESET_FLAG
        and (run.boot, run.sat_ms, run.presses) == (last.boot, last.sat_ms, last.presses)
        and last.seq < run.seq[0]
        and last.register <= run.register[0]
        and last.uptime_ms <= run.uptime_ms[0]
        and run.register == sorted(run.register)
        and run.uptime_ms == sorted(run.uptime_ms)
        and run.seq[-1] - last.seq < HALF_32
        and (run.seq == list(range(run.seq[0], run.seq[0] + n)) or all(map(lt, run.seq, run.seq[1:])))
        and _no_step_above(HOLE_US // 1000, last.uptime_ms, run.uptime_ms)
    )


def together(track: Track, last: RegisterReading, run: RegisterRun, t_us: list[int]) -> Together | None:
    """A run that `counts_on` from the track's newest reading; None where its lines must be taken one by one.

    t_us: their dose times, rising.
    """
    full, quality = track.response.full_scale, track.quality
    if track.last is None or not _no_step_above(HOLE_US, track.last.t_us, t_us):
        return None
    if full is not None and not _no_step_above(LEAP * full * LEAP_SLACK_MS, last.register, run.register):
        return None
    values = [milli / 1000 for milli in run.level_milli]
    if (full is not None and max(values) >= full) or quality.is_moved_by(t_us, values):
        return None
    ends = last.uptime_ms, run.uptime_ms[-1], last.register, run.register[-1]
    return Together(run, t_us, values, RegisterSegment(track.last.t_us, t_us[-1], run.boot, *ends, 0))


def _no_step_above(most: float, first: int, rising: list[int]) -> bool:
    return rising[-1] - first <= most or max(map(sub, rising, (first, *rising))) <= most
