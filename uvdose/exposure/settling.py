"""Settling: when a print that has ended is added up to its end. Pure.

The next reading closes the light of an ended print. When none comes in time, what fell since the last reading is
missing: a hole of over 60 s is no longer bridged, whatever comes later. That is decided once, by a tick, and written
down with the end, so that a recount, a restart and a look into the journal all go by it.
"""

from __future__ import annotations

from ..dose.integrator import BRIDGE_US, Track
from ..model import Kind, MomentSegment
from ..units import US_PER_S
from .channel import Channel
from .exposure import NO_DUE, Exposure
from .states import ENDED

SETTLE_US = BRIDGE_US + US_PER_S
PATIENCE_S = 5.0  # and so many real seconds, since at a pace the node needs real time for an answer


def settle_due_us(exposure: Exposure, channel: Channel, pace: float) -> int:
    """When an ended print is closed without a reading; NO_DUE for one that is settled or not ended."""
    end_us, last = exposure.finished_us, channel.track.last
    if end_us is None or exposure.settled or exposure.state not in ENDED or (last is not None and last.t_us > end_us):
        return NO_DUE
    return channel.earliest_us(end_us + max(SETTLE_US, int(PATIENCE_S * US_PER_S * pace)))


def closing(exposure: Exposure, track: Track) -> MomentSegment:
    """The missing light from the last reading to the end: as strong as it was read last, at most the strongest."""
    end_us, last = exposure.finished_us or 0, track.last
    if last is None:
        return MomentSegment(end_us, end_us, 0.0, 0.0, Kind.MISSING)
    peak = max(track.history.peak, last.value)
    return MomentSegment(last.t_us, end_us, last.value, last.value, Kind.MISSING, 0.0, 1.0, peak)
