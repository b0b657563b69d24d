"""What a clock would have done: the dose of a fixed time in the light that really fell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from ..dose.integrator import BRIDGE_US, reading_value
from ..journal.replay import rebuild
from ..journal.store import Kept, Store
from ..model import Reading, RegisterReading
from ..units import US_PER_S, to_screen
from . import raw
from .day import Print, Stretch


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

    def levels() -> Iterator[tuple[int, float, Reading]]:
        for run in raw.runs(store, begin_us - BRIDGE_US, end_us + BRIDGE_US):
            if run.identity.name == p.document.sensor:
                scale = raw.Scale(run.identity)
                yield from ((wall_us, scale.irradiance(reading_value(r)), r) for wall_us, _, r in run.rows)

    dose = spent_s = at_target_s = 0.0
    by_then: float | None = None
    for mean, seconds, _ in _pieces(levels(), p.in_light):
        if by_then is None and spent_s + seconds >= clock_s:
            by_then = dose + mean * (clock_s - spent_s)
        if dose < p.document.target_dose:
            at_target_s = spent_s + seconds
        spent_s += seconds
        dose += mean * seconds
    return None if by_then is None else ByClock(clear, clock_s, by_then, at_target_s)


def in_light(store: Store, kept: Kept) -> list[Stretch]:
    """Stretches (dose time) in which a finished exposure lay in the light."""
    windows = rebuild(store, kept).account.windows
    return [Stretch(w.start.t_us, max(w.start.t_us, w.stop.t_us)) for w in windows if w.stop is not None]


def by_time(store: Store, kept: Kept, clock_s: float) -> float | None:
    """The dose that a finished print would have got in so much time from its own start on, holds left out.

    In the unit of its target. Where it was taken in sooner, the light that its sensor read after that goes on being
    counted. None where no readings tell it: a hole that is too long to be bridged, or they end. About, as above.
    """
    lit = in_light(store, kept)
    if not lit:
        return None
    last = lit[-1]
    lit[-1] = Stretch(last.start_us, max(last.stop_us, last.start_us + round(clock_s * US_PER_S)))
    response = kept.plan.response
    begin_us, end_us = lit[0].start_us - BRIDGE_US, lit[-1].stop_us + BRIDGE_US
    readings = store.readings(kept.plan.sensor, begin_us, end_us)
    levels = ((t_us, response.factor * (reading_value(r) - response.zero), r) for t_us, r in readings)
    dose = spent_s = 0.0
    for mean, seconds, gap_us in _pieces(levels, lit):
        if seconds and gap_us > BRIDGE_US:
            return None
        if spent_s + seconds >= clock_s:
            return to_screen(dose + mean * (clock_s - spent_s), response.unit)
        spent_s += seconds
        dose += mean * seconds
    return None


def _pieces(
    levels: Iterable[tuple[int, float, Reading]], lit: list[Stretch]
) -> Iterator[tuple[float, float, int]]:
    """Between each two readings: the mean level, the seconds of it in the light, and how far they lie apart."""
    last: tuple[int, float] | None = None
    for t_us, value, reading in levels:
        if last is not None:
            mean = value if isinstance(reading, RegisterReading) else (value + last[1]) / 2
            lit_us = sum(max(0, min(t_us, s.stop_us) - max(last[0], s.start_us)) for s in lit)
            yield mean, lit_us / US_PER_S, t_us - last[0]
        last = (t_us, value)
