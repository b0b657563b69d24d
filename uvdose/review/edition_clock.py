"""An edition by the clock: the doses that the same time would have given, in the light that each sheet really had."""

from __future__ import annotations

import msgspec

from ..journal.replay import rebuild
from ..journal.store import Kept, Store
from ..units import US_PER_S, irradiance_unit, stops_between
from . import recorded
from .byclock import dose_of
from .editions import EditionDoc
from .recorded import Stretch
from .spread import mean_and_spread

_AROUND_US = 180 * US_PER_S


class LayerByClock(msgspec.Struct, frozen=True):
    """A layer whose sheets all got the time of its first one. clock_s: that time in the light. stops: each finished
    sheet's dose by it, from the dose that the sheet aimed at; None where no readings tell it.

    dose_spread_stops, clock_spread_stops: standard deviation by the dose and by the clock, over the same sheets.
    """

    layer: int
    clock_s: float
    first: int
    stops: dict[int, float | None]
    clock_spread_stops: float | None
    dose_spread_stops: float | None


def edition_by_clock(store: Store, doc: EditionDoc) -> list[LayerByClock]:
    """Each layer with a finished sheet, by the time that its first finished sheet took. Raises `Refusal`."""
    found = []
    for layer in range(1, len(doc.edition.layers) + 1):
        shown = {sheet: doc.at(sheet, layer) for sheet in range(1, doc.edition.prints + 1)}
        done = {sheet: d for sheet, d in shown.items() if d is not None and d.state == "finished"}
        if not done:
            continue
        first = min(done, key=lambda sheet: done[sheet].id)
        clock_s = sum(s.stop_us - s.start_us for s in _in_light(store, store.exposure(done[first].id))) / US_PER_S
        if clock_s <= 0:
            continue
        stops: dict[int, float | None] = {}
        dose_stops: list[float] = []
        for sheet, document in done.items():
            dose = _by_time(store, store.exposure(document.id), clock_s)
            by_then = None if dose is None else stops_between(dose, document.target_dose)
            given = stops_between(document.dose, document.target_dose)
            stops[sheet] = by_then
            if by_then is not None and given is not None:
                dose_stops.append(given)
        _, clock_spread = mean_and_spread([s for s in stops.values() if s is not None])
        found.append(LayerByClock(layer, clock_s, first, stops, clock_spread, mean_and_spread(dose_stops)[1]))
    return found


def _in_light(store: Store, kept: Kept) -> list[Stretch]:
    """Stretches (dose time) in which a finished exposure lay in the light."""
    windows = rebuild(store, kept).account.windows
    return [Stretch(w.start.t_us, max(w.start.t_us, w.stop.t_us)) for w in windows if w.stop is not None]


def _by_time(store: Store, kept: Kept, clock_s: float) -> float | None:
    """The dose of a finished print after so much time, in its unit; None where no readings tell it."""
    lit = _in_light(store, kept)
    if not lit:
        return None
    shift_us = kept.begin_wall_us - kept.plan.begin_us
    end_us = max(lit[-1].stop_us, lit[-1].start_us + round(clock_s * US_PER_S))
    read = recorded.read(store, lit[0].start_us + shift_us - _AROUND_US, end_us + shift_us + _AROUND_US)
    unit = irradiance_unit(kept.document.unit)
    own = [r for r in read if (r.name, r.unit) == (kept.plan.sensor, unit)]
    return dose_of(own[0], lit, clock_s) if own else None
