"""An exposure as it stands by the journal alone: the one document that `day`, `export` and `recount` go by.

What is kept of a settled one is final. One that still takes light, or whose end waits for the sensor's next reading
(`settling`), is counted from the readings kept so far.
"""

from __future__ import annotations

import msgspec

from ..journal.replay import Counted, count_anew
from ..journal.store import Kept, Store
from ..messages import ExposureDoc
from ..units import stops_between, to_screen


def standing(store: Store, kept: Kept, counted: Counted | None = None) -> ExposureDoc:
    """The document of an exposure. Raises `Refusal` where readings that it needs cannot be read."""
    if kept.settled:
        return kept.document
    shown, counted = kept.document, counted or count_anew(store, kept, in_bulk=True)
    exposure = counted.exposure
    # Light since the last reading is told up to an end, as the daemon tells it; without one only what was read is.
    end_us = exposure.finished_us
    f = exposure.account.figures() if end_us is None else exposure.figures(counted.track, end_us)
    dose = to_screen(f.dose, shown.unit)
    return msgspec.structs.replace(
        shown, dose=dose, dose_low=to_screen(f.low, shown.unit), dose_high=to_screen(f.high, shown.unit),
        fraction=dose / shown.target_dose, measured_s=f.measured_s, bridged_s=f.bridged_s, missing_s=f.missing_s,
        saturated_s=f.saturated_s, missing_dose=to_screen(f.missing, shown.unit), eta_s=None,
        parts={name: to_screen(half, shown.unit) for name, half in f.parts.items()},
        low_stops=stops_between(f.low, f.dose), high_stops=stops_between(f.high, f.dose),
    )
