"""An edition by the clock: the doses that the same time would have given, in the light that each sheet really had."""

from __future__ import annotations

import msgspec

from ..journal.store import Store
from ..units import US_PER_S, stops_between
from .byclock import by_time, in_light
from .editions import EditionDoc
from .spread import mean_and_spread


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
        clock_s = sum(s.stop_us - s.start_us for s in in_light(store, store.exposure(done[first].id))) / US_PER_S
        if clock_s <= 0:
            continue
        stops: dict[int, float | None] = {}
        dose_stops: list[float] = []
        for sheet, document in done.items():
            dose = by_time(store, store.exposure(document.id), clock_s)
            by_then = None if dose is None else stops_between(dose, document.target_dose)
            given = stops_between(document.dose, document.target_dose)
            stops[sheet] = by_then
            if by_then is not None and given is not None:
                dose_stops.append(given)
        _, clock_spread = mean_and_spread([s for s in stops.values() if s is not None])
        found.append(LayerByClock(layer, clock_s, first, stops, clock_spread, mean_and_spread(dose_stops)[1]))
    return found
