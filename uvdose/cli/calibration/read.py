"""A dry calibration sheet: what it showed is typed in, what follows is told, and accepted as a target."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, cast

import msgspec

from ...model import Refusal
from ..questions import answer, at_terminal, number, one_of, whole, yes

if TYPE_CHECKING:
    from ...calibrate.sheet import Finding
    from ...config import Home
    from ...exposure.target import Target
    from ...journal.store import Kept
    from ...notes import Calibration, Seen
    from .sheets import Sheet

Z95 = 1.96
NOTED = ("process", "paper", "coat", "film", "humidity", "drying", "coating_age", "notes")
UNTOLD_S = 1.0  # how long after the call a card was moved that nobody told of, one standard uncertainty


class Typed(msgspec.Struct, frozen=True):
    """What came as options of `read`; None where it was not given."""

    full: str | None = None
    tone: str | None = None
    right: str | None = None
    densities: str | None = None
    reflectances: str | None = None
    greys: str | None = None
    white: float | None = None
    black: float | None = None
    gamma: float = 1.0
    paper_base: float | None = None
    full_below: float = 0.05


def seen_of(sheet: Sheet, typed: Typed) -> Seen:
    """What the sheet showed, from options or by asking. Raises `Refusal`."""
    from ...calibrate.readings import parse_numbers
    from ...notes import Seen

    values = {"density": typed.densities, "reflectance": typed.reflectances, "grey": typed.greys}
    given = [how for how, line in values.items() if line is not None]
    picked = [typed.right is not None, typed.full is not None or typed.tone is not None]
    if len(given) + sum(picked) > 1:
        raise Refusal("give picked steps, or densities, or reflectances, or grey values: one of them", 2)
    how = given[0] if given else "right" if picked[0] else "picks" if picked[1] else _ask_how(sheet)
    if how == "right":
        return Seen("right", right=whole(answer(typed.right, "which step is right", _number_text, "--right")))
    if how == "picks":
        return _picks(sheet, typed)
    line = answer(
        values[how], f"the {how} of each step from step 1 on, - for one not read", _numbers_text, f"--{_OPTION[how]}"
    )
    white = typed.white
    if how == "grey":
        white = answer(white, "grey value of the bare paper or a white card", number, "--white")
    return Seen(
        cast(Literal["density", "reflectance", "grey"], how), values=parse_numbers(line), white=white,
        black=typed.black, gamma=typed.gamma, base=typed.paper_base, full_below=typed.full_below,
    )


_OPTION = {"density": "densities", "reflectance": "reflectances", "grey": "greys"}


def _number_text(typed: str) -> str:
    return str(whole(typed))


def _numbers_text(typed: str) -> str:
    from ...calibrate.readings import parse_numbers

    parse_numbers(typed)
    return typed


def _ask_how(sheet: Sheet) -> str:
    measured = ("density", "reflectance", "grey")
    ways = ("right", "picks", *measured) if sheet.kind == "strip" else ("picks", *measured)
    usual = ways[0] if at_terminal() else None
    return answer(None, f"how was it read: {', '.join(ways)}", one_of(*ways), "--right, --full or --densities", usual)


def _picks(sheet: Sheet, typed: Typed) -> Seen:
    from ...notes import Seen

    which = "last" if sheet.kind == "tablet" else "first"
    full = whole(answer(typed.full, f"{which} step that prints full tone", _number_text, "--full"))
    tone = answer(typed.tone, f"{which} step that shows any tone, - if all do", _step_or_none, "--tone", "-")
    return Seen("picks", full=full, tone=None if tone == "-" else int(tone))


def _step_or_none(typed: str) -> str:
    return "-" if typed in ("-", "") else _number_text(typed)


def given_doses(place: Home, sheet: Sheet) -> tuple[float | tuple[float, ...], float, list[str]]:
    """What the sheet got: one dose, or each step's; its relative standard uncertainty; and what must be told of it."""
    from ...calibrate.series import Series, given
    from ...notes import StripPlan
    from ...review.cards import card_moves
    from ..asking import journal
    from .run import untold_words

    kept = sheet.exposure
    if kept is None or sheet.state in ("planned", "in the light"):
        raise Refusal(f"{sheet.name} is {sheet.state}: it must be exposed and dry before it is read")
    shown = kept.document
    if shown.dose <= 0:
        raise Refusal(f"{sheet.name} got no light: make the print again")
    dose_u = (shown.dose_high - shown.dose_low) / (2 * Z95 * shown.dose)
    notes = []
    if shown.missing_s > 0:
        notes.append(f"{shown.missing_s:.0f} s of its light were not measured: it got more than was counted")
    plan = sheet.note.plan
    if not isinstance(plan, StripPlan):
        return shown.dose, dose_u, notes
    with journal(place) as store:
        moves = card_moves(store, store.exposure(shown.id))
    steps = kept.plan.target.calls.steps
    untold = [steps[m.step - 1].words for m in moves if not m.told]
    if untold:
        notes.append(untold_words(untold))
        lit_s = max(shown.measured_s + shown.bridged_s, 1.0)
        dose_u = max(dose_u, UNTOLD_S / lit_s * shown.dose / plan.doses[0])
    doses = given(Series(plan.doses, 0.0), plan.way, [m.dose for m in moves] + [shown.dose])
    return doses, dose_u, notes


def finding_of(place: Home, sheet: Sheet, seen: Seen) -> Finding:
    """What follows from what was seen. Raises `Refusal`."""
    from ...calibrate.sheet import evaluate

    doses, dose_u, notes = given_doses(place, sheet)
    found = evaluate(msgspec.structs.replace(sheet.note, seen=seen), doses, dose_u)
    return msgspec.structs.replace(found, notes=(*notes, *found.notes))


def finding_lines(note: Calibration, found: Finding) -> list[str]:
    """What was found, in lines."""
    from ...review.layout import figure, with_unit, wrap

    t, unit = found.target, note.unit
    lines = [f"target   {with_unit(t.best, unit)}  ({figure(t.low)}-{figure(t.high)}), least dose for full tone"
             if found.how != "right" else f"target   {with_unit(t.best, unit)}  ({figure(t.low)}-{figure(t.high)})"]
    if found.safe is not None:
        lines += wrap(f"safe     {with_unit(found.safe, unit)}: the last full step as the edge itself; a little dark"
                      " on average", "", " " * 9)
    if found.exposure_scale is not None:
        s = found.exposure_scale
        lines += wrap(f"range    {s.best:.2f} ({s.low:.2f}-{s.high:.2f}) from first tone to full tone: aim at a"
                      " negative of this density range", "", " " * 9)
    if found.range_r is not None:
        lines.append(f"ISO R    {found.range_r.best:.0f}")
    if found.contrast is not None:
        lines.append(f"contrast {found.contrast.best:.2f}, average gradient")
    if note.film_base is None and not note.through_film:
        lines += wrap("film     the clear film of later prints is not counted in: `uvdose film` measures it; often it"
                      " is 0.05 to 0.2 in ultraviolet (common practice, no source)", "", " " * 9)
    lines += _doubt(note, t.best)
    if note.film_base is not None:
        lines.append(f"film     density {note.film_base.best:.2f} of the clear film is added to the target")
    for step in found.steps:
        if step.left_out:
            lines.append(f"step {step.number} is left out: {step.left_out}")
    for line in found.notes:
        lines += wrap(line)
    return lines


def _doubt(note: Calibration, dose: float) -> list[str]:
    """A line where a dose is far from what is usual for the process."""
    from ...calibrate.processes import dose_doubt, process
    from ...review.layout import wrap
    from ...units import PHYSICAL_DOSE

    try:
        doubt = dose_doubt(process(note.noted.get("process", "")), dose) if note.unit == PHYSICAL_DOSE else None
    except Refusal:
        return []
    return [] if doubt is None else wrap(f"note     {doubt}", "", " " * 9)


def accept(
    place: Home, sheet: Sheet, found: Finding, name: str, dose: float | None, safe: bool, reason: str
) -> Target:
    """Make a target of what was found. Raises `Refusal`."""
    from ...asked import TargetRequest
    from ...notes import Calibration
    from ...units import check_dose
    from ..keeping import change_note, keep_target
    from ..target_light import proved_in

    if safe and found.safe is None:
        raise Refusal("--safe is for picked steps; measured ones have their own interval", 2)
    note, kept = sheet.note, sheet.exposure
    if kept is not None:
        _refuse_changed(place, sheet, kept)
    best = dose if dose is not None else found.safe if safe and found.safe is not None else found.target.best
    check_dose(best, note.unit)  # here, since JSON cannot carry NaN to the daemon
    request = TargetRequest(
        name=name, dose=best, unit=note.unit, sensor=kept.plan.sensor if kept is not None else note.sensor,
        reason=reason or f"from {sheet.name}", basis=sheet.name, low=min(found.target.low, best),
        high=max(found.target.high, best),
        proved_s=None if kept is None else kept.document.measured_s + kept.document.bridged_s,
        exposure_scale=None if found.exposure_scale is None else found.exposure_scale.best,
        proved_light=None if kept is None else proved_in(place, kept),
        light_in="" if kept is None else kept.plan.light_in,
    )
    noted = {what: said for what, said in note.noted.items() if what in NOTED}
    target = keep_target(place, msgspec.structs.replace(request, **noted))
    change_note(place, Calibration, sheet.number,
                lambda _, now: msgspec.structs.replace(now or note, accepted=target.title))  # fmt: skip
    return target


def _refuse_changed(place: Home, sheet: Sheet, kept: Kept) -> None:
    """A target is bound to its sensor as it is set now; the sheet's dose was counted as it was set then."""
    from ...dose.response import differences
    from ..asking import journal
    from ..keeping import identities_now

    with journal(place) as store:
        now = next((identity for identity in identities_now(place, store) if identity.name == kept.plan.sensor), None)
    if now is None:
        raise Refusal(f"{sheet.name} was counted by sensor {kept.plan.sensor}, which the settings no longer have: put"
                      " it back, or make a new print")  # fmt: skip
    if changed := differences(kept.identity, now):
        raise Refusal(f"{sheet.name} was counted with another sensor setting ({'; '.join(changed)}): put that back, or"
                      " make a new print with the setting of now")  # fmt: skip


def ask_accept(sheet: Sheet, name: str | None) -> str | None:
    """Under which name to accept; None: not now."""
    if name is not None or not at_terminal():
        return name
    return ask_name(sheet) if yes("make this the target", default=True) else None


def ask_name(sheet: Sheet, name: str | None = None) -> str:
    """The name of the target that a sheet makes."""
    from ...exposure.setting import check_name

    return answer(
        name, "name of the target", check_name, "--name", sheet.note.noted.get("process", "").replace(" ", "-") or None
    )
