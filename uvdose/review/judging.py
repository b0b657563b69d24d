"""What the judged prints of a target come to, out of the journal."""

from __future__ import annotations

from contextlib import suppress

import msgspec

from ..calibrate.estimate import Estimate
from ..calibrate.processes import process
from ..calibrate.verdicts import Curve, Judgement, Prior, Proposal, by_density, dose_u_stops, own_eye, propose
from ..dose.response import same_sensor
from ..exposure.target import Target
from ..journal.store import Kept, Store
from ..model import Refusal
from ..notes import Verdict
from .layout import unit_text

CALIBRATED = ("strip", "tablet")


class Judged(msgspec.Struct, frozen=True):
    """A target's newest version, the prints that were judged, and what they propose."""

    target: Target
    prints: tuple[int, ...]
    proposal: Proposal


def judge(store: Store, name: str, curve: Curve | None = None) -> Judged:
    """What the verdicts on a target's prints propose. Raises `Refusal`."""
    versions = store.versions(name)
    verdicts = store.notes(Verdict)
    newest = versions[-1]
    prior, since = prior_of(versions)
    used: list[int] = []
    judgements: list[Judgement] = []
    for kept in store.of_target(name):
        verdict = verdicts.get(str(kept.plan.id))
        if verdict is None or not _counts(kept, newest, since):
            continue
        found = _judgement(kept, verdict, curve)
        if found is not None:
            used.append(kept.plan.id)
            judgements.append(found)
    histories = [(prior, judgements)] if not bleaches(newest) else []
    histories += [
        _history(store, other.name, verdicts) for other in store.targets()
        if other.name != name and not bleaches(other)
    ]
    eye = own_eye([(p, js) for p, js in histories if js])
    proposal = propose(newest.dose, prior, judgements, eye, bleaches(newest), unit_text(newest.unit))
    return Judged(newest, tuple(used), proposal)


def prior_of(versions: list[Target]) -> tuple[Prior, int]:
    """What the newest calibration print proved, and from which version on; else the first version's dose.

    Of versions like the newest alone: the dose of another unit, sensor or paper says nothing here. Never what verdicts
    made of it, since they would count twice. A version that rests on the same sheet once more (read anew, or retired)
    takes no print's verdict away.
    """
    versions = [t for t in versions if alike(t, versions[-1])]
    for target in reversed(versions):
        if target.basis.startswith(CALIBRATED) and target.low is not None and target.high is not None:
            since = min(t.version for t in versions if t.basis == target.basis)
            return Prior.of(Estimate(target.low, target.dose, target.high)), since
    return Prior(versions[0].dose), versions[0].version


def bleaches(target: Target) -> bool:
    """Whether light makes this target's prints lighter."""
    try:
        return process(target.combination.process or "").prints == "bleaches"
    except Refusal:
        return False


def _counts(kept: Kept, newest: Target, since: int) -> bool:
    """Finished prints by targets like the newest, from the calibration print on."""
    used = kept.plan.target
    return alike(used, newest) and used.version >= since and not kept.plan.overridden \
        and kept.state == "finished" and kept.document.dose > 0


def alike(a: Target, b: Target) -> bool:
    """Whether two versions speak of the same process, paper and film and the same sensor. Not noted does not differ."""
    noted = ((getattr(t.combination, what) for t in (a, b)) for what in ("process", "paper", "film"))
    return a.unit == b.unit and same_sensor(a.identity, b.identity) and all(x == y or None in (x, y) for x, y in noted)


def _judgement(kept: Kept, verdict: Verdict, curve: Curve | None) -> Judgement | None:
    shown = kept.document
    dose_u = dose_u_stops(shown.dose_low, shown.dose, shown.dose_high)
    if verdict.tone is None and verdict.stops is None and verdict.density is not None and curve is not None:
        with suppress(Refusal):  # a density that says nothing keeps no other print from being judged
            measured = by_density(shown.dose_as_proved, verdict.density, curve, dose_u_stops=dose_u)
            return msgspec.structs.replace(measured, highlights=verdict.highlights)
    if verdict.tone is None and verdict.stops is None and verdict.highlights is None:
        return None
    return Judgement(shown.dose_as_proved, dose_u, verdict.tone, verdict.stops, verdict.highlights)


def _history(store: Store, name: str, verdicts: dict[str, Verdict]) -> tuple[Prior, list[Judgement]]:
    versions = store.versions(name)
    prior, since = prior_of(versions)
    found = [
        _judgement(kept, verdicts[str(kept.plan.id)], None) for kept in store.of_target(name)
        if str(kept.plan.id) in verdicts and _counts(kept, versions[-1], since)
    ]
    return prior, [j for j in found if j is not None]
