"""Arming: the register at which a node is to call by itself. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable

import msgspec

from ..model import RegisterReading, RegisterSegment
from .calls import REACHED
from .channel import Channel
from .exposure import Exposure
from .states import State

REGISTER_END = 1 << 63
# Of the target, for how little a node is not armed anew: with a dark reading the register depends on the light to come.
CLOSE, CLOSE_BY_LIGHT = 1 / 20_000, 1 / 400
ZERO_REACH_S = 3600.0  # how far ahead the dark counts are reckoned with, in light that hardly exceeds them


class Want(msgspec.Struct, frozen=True):
    """register: counts x ms at which the target is reached at the light of now; None: what is armed stays as it is.

    slack: counts x ms by which it may differ from what is armed.
    """

    register: int | None
    slack: int = 0


KEEP = Want(None)


def wanted(exposures: Iterable[Exposure], channel: Channel) -> dict[int, Want]:
    """By exposure, what the node of this sensor should hold armed; an exposure that is not there, nothing."""
    line = channel.track.last.reading if channel.track.last is not None else None
    if not isinstance(line, RegisterReading):
        return {}
    mine = (e for e in exposures if e.plan.sensor == channel.name)
    return {e.id: want for e in mine if (want := _want(e, channel, line)) is not None}


def _want(exposure: Exposure, channel: Channel, line: RegisterReading) -> Want | None:
    if exposure.state is State.REACHED:
        return KEEP if REACHED in exposure.open_calls else None
    last = channel.track.last
    if exposure.state is not State.COUNTING or last is None:
        return None
    if REACHED in exposure.passed:  # acknowledged, or held and taken up again after its call
        return None
    response = exposure.plan.response
    light = exposure.light(channel.track, last.t_us)
    net = (exposure.plan.aim_base - light.dose) / response.factor
    if net <= 0:
        return KEEP  # the call is about to come
    dark_s = min(ZERO_REACH_S, net * response.factor / light.rate) if light.rate > 0 else ZERO_REACH_S
    counts_ms = math.ceil(1000 * (net + response.zero * dark_s))
    register = _register_from(exposure, line, last.t_us) + max(0, counts_ms)
    close = CLOSE_BY_LIGHT if response.zero else CLOSE
    slack = int(1000 * close * exposure.plan.aim_base / response.factor)
    return Want(register, slack) if register < REGISTER_END else None


def _register_from(exposure: Exposure, line: RegisterReading, t_us: int) -> int:
    """The register from which on light is still to be added to the account."""
    start = exposure.account.windows[-1].start
    if start.t_us > t_us and start.boot == line.boot and start.register is not None:
        return start.register
    behind = exposure.keeper.behind if exposure.keeper is not None else None
    if isinstance(behind, RegisterSegment) and behind.boot == line.boot:
        return behind.register0
    return line.register
