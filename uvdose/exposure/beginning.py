"""Beginning: whether an exposure may begin, on a sensor that is heard and in a frame that is free. Pure."""

from __future__ import annotations

from ..model import Refusal
from ..units import US_PER_S
from .bench import Bench
from .channel import Channel

FRESH_FLOOR_S = 2.0


def may_start(bench: Bench, sensor: str, frame: str, now_us: int) -> Channel:
    """The sensor of an exposure that may begin now in a frame. Raises `Refusal`: it may not, and why."""
    channel = bench.channels.get(sensor)
    if channel is None:
        raise Refusal(f"no sensor {sensor!r}: one of {', '.join(bench.channels)}")
    for other in bench.running():
        if other.plan.frame == frame:
            raise Refusal(
                f"frame {frame} is taken by exposure {other.id} ({other.state}): "
                f"finish it with `uvdose finish {other.id}`, or name another frame with --frame"
            )
    heard = channel.readings > 0 and "link" not in channel.health.active
    if not heard or not channel.fresh(now_us, int(FRESH_FLOOR_S * US_PER_S * bench.pace)):
        why = next(iter(channel.health.active.values()), "no reading has come lately")
        raise Refusal(f"sensor {sensor} is {channel.health.state()}: {why}; nothing was started")
    return channel
