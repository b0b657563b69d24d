"""An edition out of the journal: which sheets have which layers, how alike their doses are, what comes next."""

from __future__ import annotations

import msgspec

from ..journal.store import Store
from ..messages import ExposureDoc
from ..model import Refusal
from ..notes import Edition
from ..units import stops_between
from .spread import mean_and_spread


class Place(msgspec.Struct, frozen=True):
    """One sheet's layer, both from 1."""

    sheet: int
    layer: int


class Spread(msgspec.Struct, frozen=True):
    """How alike the finished prints of a layer are, in stops from its target. None where too few are finished.

    spread_stops: standard deviation over the sheets; beyond: sheets that lie outside the edition's limit.
    """

    layer: int
    prints: int
    mean_stops: float | None
    spread_stops: float | None
    least_stops: float | None
    most_stops: float | None
    beyond: tuple[int, ...]


class EditionDoc(msgspec.Struct, frozen=True):
    """An edition as it stands. done: the exposure of each place that has one, the newest that was not taken back."""

    name: str
    edition: Edition
    done: dict[str, ExposureDoc]
    spreads: tuple[Spread, ...]
    next: Place | None

    def at(self, sheet: int, layer: int) -> ExposureDoc | None:
        """The exposure of a place."""
        return self.done.get(f"{sheet}/{layer}")

    def numbers(self, sheet: int, layer: int) -> list[int]:
        """The exposures of a sheet's layers below this one, the numbers on its back."""
        return [shown.id for i in range(1, layer) if (shown := self.at(sheet, i)) is not None]


def edition_of(store: Store, name: str) -> EditionDoc:
    """An edition by its name. Raises `Refusal`."""
    known = store.notes(Edition)
    if name not in known:
        raise Refusal(f"no edition {name!r}; " + (f"known: {', '.join(known)}" if known else
                      "`uvdose edition plan NAME` begins one"))  # fmt: skip
    edition = known[name]
    done: dict[str, ExposureDoc] = {}
    for kept in store.parts("edition", name):
        part = kept.plan.part
        if part is not None and kept.state != "void":
            done[f"{part.sheet}/{part.layer}"] = kept.document
    spreads = tuple(_spread(edition, done, layer) for layer in range(1, len(edition.layers) + 1))
    return EditionDoc(name, edition, done, spreads, _next(edition, done))


def stops_from(target_dose: float, shown: ExposureDoc) -> float | None:
    """How far a print lies from the edition's dose."""
    return stops_between(shown.dose, target_dose)


def _next(edition: Edition, done: dict[str, ExposureDoc]) -> Place | None:
    """Layer by layer, since each dries before the next: the first place without an exposure."""
    for layer in range(1, len(edition.layers) + 1):
        for sheet in range(1, edition.prints + 1):
            if f"{sheet}/{layer}" not in done:
                return Place(sheet, layer)
    return None


def _spread(edition: Edition, done: dict[str, ExposureDoc], layer: int) -> Spread:
    found: dict[int, float] = {}
    for sheet in range(1, edition.prints + 1):
        shown = done.get(f"{sheet}/{layer}")
        if shown is not None and shown.state == "finished":
            stops = stops_from(shown.target_dose, shown)
            if stops is not None:
                found[sheet] = stops
    values = list(found.values())
    mean, spread = mean_and_spread(values)
    beyond = tuple(sheet for sheet, stops in found.items() if abs(stops) > edition.limit_stops)
    return Spread(
        layer, len(values), mean, spread, min(values, default=None), max(values, default=None), beyond
    )
