"""An edition as plain text: its sheets, how alike they are, and what the clock would have made of them."""

from __future__ import annotations

from ..messages import ExposureDoc
from ..units import minutes
from .edition_clock import LayerByClock
from .editions import EditionDoc, stops_from
from .layout import columns, figure, stops_text, unit_text, wrap
from .spread import apart

CHART, LEAST_REACH = 61, 0.05  # columns, and the least that a chart reaches to each side, in stops
APART_FROM = 1 / 12  # sheets of one coat differ as much


def edition_lines(doc: EditionDoc, by_clock: list[LayerByClock] | None = None) -> list[str]:
    """What `edition show` tells."""
    edition = doc.edition
    lines = [f"edition {doc.name}: {edition.prints} sheets, limit {edition.limit_stops:.2f} stop"]
    rows = [["sheet", *(f"{layer.target} v{layer.version}" for layer in edition.layers)]]
    for sheet in range(1, edition.prints + 1):
        layers = range(1, len(edition.layers) + 1)
        rows.append([str(sheet), *(_cell(doc.at(sheet, i), sheet in doc.spreads[i - 1].beyond) for i in layers)])
    lines += columns(rows, right=(0,))
    for layer in range(1, len(edition.layers) + 1):
        lines += _layer_lines(doc, layer)
    for found in by_clock or ():
        lines += _clock_lines(doc, found)
    return [*lines, _next_line(doc)]


def strip_chart(values: list[float], limit: float) -> list[str]:
    """Figures in stops along a line, the limits and the target marked, and a scale below. Empty for none.

    o: one, a digit: so many at one place, #: more than nine.
    """
    if not values:
        return []
    reach = max(1.25 * limit, LEAST_REACH, 1.05 * max(map(abs, values)))

    def column(value: float) -> int:
        return round((value / reach + 1) / 2 * (CHART - 1))

    cells = [" "] * CHART
    for at, mark in ((-limit, "┊"), (limit, "┊"), (0.0, "│")):
        cells[column(at)] = mark
    counts: dict[int, int] = {}
    for value in values:
        counts[column(value)] = counts.get(column(value), 0) + 1
    for place, count in counts.items():
        cells[place] = "o" if count == 1 else str(count) if count < 10 else "#"
    low, high = f"{-reach:+.2f}", f"{reach:+.2f} stops"
    middle = CHART // 2
    scale = low.ljust(middle) + "0" + high.rjust(CHART - middle - 1 + len(" stops"))
    return [f"  {''.join(cells)}".rstrip(), f"  {scale}"]


def _cell(shown: ExposureDoc | None, beyond: bool) -> str:
    if shown is None:
        return "-"
    if shown.state != "finished":
        return f"{shown.state} ({shown.id})"
    far = " !" if beyond else ""
    stops = stops_text(stops_from(shown.target_dose, shown))
    return f"{figure(shown.dose)} {unit_text(shown.unit)} {stops}{far} ({shown.id})"


def _layer_lines(doc: EditionDoc, layer: int) -> list[str]:
    spread, target = doc.spreads[layer - 1], doc.edition.layers[layer - 1].target
    if spread.mean_stops is None:
        return []
    told = f"{target}: {spread.prints} finished, on average {spread.mean_stops:+.2f} stop off"
    if spread.spread_stops is not None:
        reach = f"{stops_text(spread.least_stops)} to {stops_text(spread.most_stops)}"
        told += f", spread {spread.spread_stops:.2f} stop ({reach})"
    if spread.beyond:
        told += f"; beyond the limit: sheet {', '.join(map(str, spread.beyond))}"
    found = _stops(doc, layer)
    sheets = list(found)
    far = [str(sheets[i]) for i in apart(list(found.values()), APART_FROM)]
    if far:
        told += f"; apart from the others: sheet {', '.join(far)}"
    chart = strip_chart(list(found.values()), doc.edition.limit_stops) if len(found) > 1 else []
    return [*wrap(told), *chart]


def _stops(doc: EditionDoc, layer: int) -> dict[int, float]:
    """Each finished sheet's stops from the dose that it aimed at."""
    found: dict[int, float] = {}
    for sheet in range(1, doc.edition.prints + 1):
        shown = doc.at(sheet, layer)
        stops = stops_from(shown.target_dose, shown) if shown is not None and shown.state == "finished" else None
        if stops is not None:
            found[sheet] = stops
    return found


def _clock_lines(doc: EditionDoc, found: LayerByClock) -> list[str]:
    target = doc.edition.layers[found.layer - 1].target
    told = [s for s in found.stops.values() if s is not None]
    head = f"{target} by the clock: {minutes(found.clock_s)} for each, as sheet {found.first} took"
    if found.clock_spread_stops is not None and found.dose_spread_stops is not None:
        head += (f"; the doses would spread by {found.clock_spread_stops:.2f} stop ({min(told):+.2f} to"
                 f" {max(told):+.2f}), by the dose it was {found.dose_spread_stops:.2f}")  # fmt: skip
    unknown = [str(sheet) for sheet, stops in found.stops.items() if stops is None]
    if unknown:
        head += f"; no readings tell it for sheet {', '.join(unknown)}"
    return [*wrap(head), *(strip_chart(told, doc.edition.limit_stops) if len(told) > 1 else [])]


def _next_line(doc: EditionDoc) -> str:
    if doc.next is None:
        return "complete"
    which = f", layer {doc.next.layer}" if len(doc.edition.layers) > 1 else ""
    numbers = doc.numbers(doc.next.sheet, doc.next.layer)
    which += f" ({', '.join(map(str, numbers))} on its back)" if numbers else ""
    return f"next: sheet {doc.next.sheet}{which}: `uvdose expose --edition {doc.name}`"
