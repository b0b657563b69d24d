"""Due: when time alone has something to decide, if no input comes. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..dose.integrator import BRIDGE_US
from .at_hand import AtHand
from .channel import Channel
from .coming import call_due_us
from .exposure import NO_DUE, Exposure
from .settling import settle_due_us
from .states import ENDED


class Dues:
    """When each channel is due, with its exposures; reckoned anew only where something has happened."""

    def __init__(self, pace: float) -> None:
        self._pace = pace
        self._known: dict[str, int] = {}
        self._open: set[str] = set()

    def touch(self, sensor: str) -> None:
        """Something has happened to a channel or to an exposure of it."""
        self._open.add(sensor)

    def next_us(self, channels: Mapping[str, Channel], exposures: AtHand, now_us: int) -> int:
        """When the first of them is due; NO_DUE for never."""
        waiting = []
        while self._open:
            name = self._open.pop()
            channel = channels[name]
            self._known[name] = due_us(channel, exposures.of(name), self._pace, now_us)
            if not channel.predicts(now_us):  # until it does, time alone moves what it is due for
                waiting.append(name)
        self._open.update(waiting)
        return min(self._known.values(), default=NO_DUE)


def due_us(channel: Channel, exposures: Iterable[Exposure], pace: float, now_us: int) -> int:
    """When a channel or one of its exposures is due; NO_DUE for never."""
    due, lit = NO_DUE, False
    for exposure in exposures:
        due = min(due, exposure_due_us(exposure, channel, pace, now_us))
        lit = lit or exposure.account.is_open
    return min(due, channel_due_us(channel, lit, now_us))


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
