"""What a clock would have done: the dose of a fixed time in the light that really fell."""

from __future__ import annotations

from typing import NamedTuple

from ..dose.integrator import BRIDGE_US, reading_value
from ..journal.store import Store
from ..model import RegisterReading
from ..units import US_PER_S
from . import raw
from .day import Print


class ByClock(NamedTuple):
    """clear: the steady irradiance that the clock was set by, in the unit of the screen. clock_s: the time that
    the target takes in it. dose: what that time gave under the real light. needed_s: time in the light it took."""

    clear: float
    clock_s: float
    dose: float
    needed_s: float


def by_clock(store: Store, p: Print, clear: float) -> ByClock | None:
    """Set a clock by `clear` light and run it over a print's readings, holds left out.

    None when the print lay in the light for less than the clock's time. About: levels are held between readings.
    """
    clock_s = p.document.target_dose / clear
    begin_us, end_us = p.in_light[0].start_us, p.in_light[-1].stop_us
    dose = spent_s = at_target_s = 0.0
    by_then: float | None = None
    last: tuple[int, float] | None = None
    for run in raw.runs(store, begin_us - BRIDGE_US, end_us + BRIDGE_US):
        if run.identity.name != p.document.sensor:
            continue
        scale = raw.Scale(run.identity)
        for wall_us, _, reading in run.rows:
            value = scale.irradiance(reading_value(reading))
            if last is not None:
                mean = value if isinstance(reading, RegisterReading) else (value + last[1]) / 2
                seconds = _lit_us(p, last[0], wall_us) / US_PER_S
                if by_then is None and spent_s + seconds >= clock_s:
                    by_then = dose + mean * (clock_s - spent_s)
                if dose < p.document.target_dose:
                    at_target_s = spent_s + seconds
                spent_s += seconds
                dose += mean * seconds
            last = (wall_us, value)
    return None if by_then is None else ByClock(clear, clock_s, by_then, at_target_s)


def _lit_us(p: Print, from_us: int, to_us: int) -> int:
    return sum(max(0, min(to_us, s.stop_us) - max(from_us, s.start_us)) for s in p.in_light)
