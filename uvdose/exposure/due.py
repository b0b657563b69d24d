"""Due: when time alone has something to decide, if no input comes. Pure."""

from __future__ import annotations

from ..dose.integrator import BRIDGE_US
from .channel import Channel
from .coming import call_due_us
from .exposure import NO_DUE, Exposure
from .settling import settle_due_us
from .states import ENDED


def exposure_due_us(exposure: Exposure, channel: Channel, pace: float, now_us: int) -> int:
    """When an exposure is called at the light of now, or closed without a reading; NO_DUE for never."""
    if exposure.state in ENDED:
        return settle_due_us(exposure, channel, pace)
    return call_due_us(exposure, channel.track, now_us) if channel.predicts(now_us) else NO_DUE


def channel_due_us(channel: Channel, lit: bool, now_us: int) -> int:
    """When a sensor's silence is to be told, or a pause over a print is a gap; NO_DUE for never."""
    due = channel.due_us(now_us)
    last = channel.track.last
    gap = last.t_us + BRIDGE_US if last is not None and lit and "gap" not in channel.health.active else NO_DUE
    return min(NO_DUE if due is None else due, gap)
