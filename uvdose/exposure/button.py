"""The button on a node: what a press asks for. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from ..units import US_PER_S
from .exposure import Exposure
from .news import News
from .states import ENDED, State

TIMELY_US = 2 * US_PER_S


def button_means(exposures: Iterable[Exposure], sensor: str) -> tuple[str, Exposure | None]:
    """What a press at this sensor asks for: quiet, hold, resume, start, wait (for the beat), or choose."""
    mine = [e for e in exposures if e.plan.sensor == sensor]
    calling = [e for e in mine if e.open_calls]
    if calling:
        return "quiet", None
    running = [e for e in mine if e.state not in ENDED]
    if not running:
        return "start", None
    if len(running) > 1:
        return "choose", None
    one = running[0]
    return {State.HELD: "resume", State.WAITING: "wait"}.get(one.state, "hold"), one


def is_timely(news: News, usual_us: int) -> bool:
    """Whether a press is known to within moments: its line came at once, or at least in its turn."""
    return news.t1_us - news.t0_us <= max(TIMELY_US, 3 * usual_us)
