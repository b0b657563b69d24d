"""Pauses between readings with a print in the light: one too long to bridge, and a sensor too slow for it. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable

from ..dose.health import Change
from ..dose.integrator import BRIDGE_US
from ..model import RegisterReading
from ..units import US_PER_S, minutes
from .channel import Channel
from .exposure import Exposure

# A print wants at least so many readings. On broken clouds sixty readings gave the dose of ten minutes within half a
# per cent, ten within 6 % and in the worst case 20 % (1-second irradiance of a field of pyranometers, HOPE 2013).
READINGS_WANTED = 50


def pauses(channel: Channel, exposures: Iterable[Exposure], now_us: int) -> list[Change]:
    """What the pauses of a sensor's readings mean for the prints in its light, now."""
    lit = [e for e in exposures if e.plan.sensor == channel.name and e.account.is_open]
    last = channel.track.last
    if last is not None and lit and now_us - last.t_us >= BRIDGE_US:
        # A hole that can no longer be bridged is told at once, while it is still open.
        return channel.health.set("gap", True) + _slow(channel, lit)
    return _slow(channel, lit)


def _slow(channel: Channel, lit: list[Exposure]) -> list[Change]:
    """Once told it stays while a print lies in the light: clouds would else tell it again and again.

    A node with a register is never slow, since it counts between its lines.
    """
    track, health = channel.track, channel.health
    if "slow" in health.active and lit and track.usual_us > channel.wanted_us:
        return []
    last = track.last
    if last is None or isinstance(last.reading, RegisterReading) or channel.readings < 3:
        return health.set("slow", False)
    for exposure in lit:
        rate = exposure.plan.response.factor * exposure.net(last.value)
        if rate <= 0:
            continue
        seconds = exposure.plan.aim_base / rate
        wanted_us = int(seconds / READINGS_WANTED * US_PER_S)
        if track.usual_us > wanted_us:
            channel.wanted_us = wanted_us
            line = (
                f"a reading each {_seconds(track.usual_us / US_PER_S)} s is slow for {exposure.plan.target.name}, which"
                f" takes {minutes(seconds)} at the light of now: clouds in between are missed; let the sensor send at"
                f" least every {_seconds(wanted_us / US_PER_S, down=True)} s"
            )
            return health.set("slow", False) + health.set("slow", True, line)
    return health.set("slow", False)


def _seconds(value: float, down: bool = False) -> str:
    """Seconds with two figures at most, whole from 2 s on; down: never more than the value."""
    step = 1.0 if value >= 2 else 0.1 if value >= 0.2 else 0.01
    whole = (math.floor if down else round)(value / step + 1e-9)
    return f"{whole * step:.10g}"
