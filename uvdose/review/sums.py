"""What a day's prints come to, and which of them wait for a person's word. Out of values alone."""

from __future__ import annotations

from collections.abc import Sequence

from ..exposure.states import State
from ..messages import ExposureDoc
from ..notes import Calibration, Verdict
from .day import NEAR_STOPS, Print, Received, Totals, Waiting
from .spread import mean_and_spread


def totals(prints: Sequence[Print]) -> Totals:
    """Sums over prints; a void one is counted and adds nothing."""
    counted = [p for p in prints if not p.is_void]
    ended = [p for p in counted if p.document.state == State.FINISHED]
    aimed = [p for p in ended if p.document.target_version]  # a strip or a tablet has no target yet
    stops = [p.stops for p in aimed if p.stops is not None]
    mean, spread = mean_and_spread(stops)
    doses: dict[str, float] = {}
    for p in counted:
        doses[p.document.unit] = doses.get(p.document.unit, 0.0) + p.document.dose
    return Totals(
        begun=len(prints),
        finished=len(ended),
        void=len(prints) - len(counted),
        received=[Received(dose, unit) for unit, dose in doses.items()],
        lit_s=sum(p.document.measured_s + p.document.bridged_s for p in counted),
        missing_s=sum(p.document.missing_s for p in counted),
        held_s=sum(p.held_s for p in counted),
        saturated_s=sum(p.document.saturated_s for p in counted),
        aimed=len(aimed),
        reached=sum(p.document.reached_utc is not None for p in aimed),
        near=sum(abs(x) <= NEAR_STOPS for x in stops),
        stops_low=min(stops, default=None),
        stops_mean=mean,
        stops_high=max(stops, default=None),
        stops_sd=spread,
    )


def waits(document: ExposureDoc, verdict: Verdict | None, sheet: Calibration | None) -> bool:
    """Whether a person has still to say how a finished print came out. sheet: what it is a part of, if anything."""
    if document.state != State.FINISHED:
        return False
    if document.target_version:
        return verdict is None
    return sheet is not None and sheet.seen is None and not sheet.dropped


def waiting(prints: Sequence[Print]) -> list[Waiting]:
    """What waits: finished prints without a verdict, and sheets that are not read, each with what to type."""
    found = []
    for p in prints:
        if not p.waits:
            continue
        d = p.document
        if d.target_version:
            what = f"print {d.id}{f', {d.label}' if d.label else ''}: {d.title}"
            found.append(Waiting(d.id, what, f"uvdose verdict {d.id}"))
        elif d.part is not None:
            found.append(Waiting(d.id, d.target, f"uvdose {d.part.kind} read {d.part.name}"))
    return found
