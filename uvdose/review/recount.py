"""A dose counted again from the raw readings of the journal, by the very code that counted it live."""

from __future__ import annotations

from ..exposure.states import ENDED, settling
from ..journal.replay import count_anew
from ..journal.store import Store
from ..messages import RecountDoc
from ..model import Refusal
from ..units import to_screen
from .standing import standing

CHANGED = "the raw readings do not give the figures that were kept: one of the two was changed"
SETTLING = "it is settling: the sensor's next reading closes its light, or 61 s without one while the daemon runs"


def recount(store: Store, number: int) -> RecountDoc:
    """Count a finished exposure again and compare, bit for bit. Raises `Refusal` with the reason where it cannot be."""
    kept = store.exposure(number)
    if not kept.settled and kept.state not in ENDED:
        raise Refusal(f"exposure {number} is {kept.state}: its last light is not added up yet; finish it first")
    counted = count_anew(store, kept, in_bulk=True)
    exposure, shown = counted.exposure, standing(store, kept, counted)
    figures = exposure.figures(counted.track, exposure.finished_us or 0)
    if exposure.started_us is not None and (counted.last_us is None or counted.last_us <= exposure.started_us):
        raise Refusal(f"exposure {number}: its raw readings are no longer in the journal; it cannot be counted again")
    again = (
        to_screen(figures.dose, shown.unit), to_screen(figures.low, shown.unit), to_screen(figures.high, shown.unit),
        figures.measured_s, figures.bridged_s, figures.missing_s,
    )
    kept_figures = (
        shown.dose, shown.dose_low, shown.dose_high, shown.measured_s, shown.bridged_s, shown.missing_s
    )
    same = again == kept_figures
    return RecountDoc(
        id=number, unit=shown.unit, same=same, dose=again[0], dose_low=again[1], dose_high=again[2],
        measured_s=again[3], bridged_s=again[4], missing_s=again[5], kept_dose=shown.dose,
        readings=counted.readings,
        note=SETTLING if settling(shown) else "" if same else CHANGED,
    )

