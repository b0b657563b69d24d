"""Calibration prints in the journal: which there are, how far each has come, and how it is told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import msgspec

from ...model import Refusal

if TYPE_CHECKING:
    from ...config import Home
    from ...journal.store import Kept, Store
    from ...notes import Calibration

Kind = Literal["strip", "tablet"]
OPEN = ("planned", "in the light", "exposed", "read")


class Sheet(msgspec.Struct, frozen=True):
    """One calibration print. exposure: its newest that was not taken back; state: planned, in the light, exposed (to
    be washed, dried and read), read, accepted, dropped."""

    kind: Kind
    number: str
    note: Calibration
    exposure: Kept | None
    state: str

    @property
    def name(self) -> str:
        return f"{self.kind} {self.number}"


def sheets(store: Store, kind: Kind) -> list[Sheet]:
    """All of a kind, oldest first."""
    from ...notes import Calibration

    return [
        _sheet(store, kind, number, note)
        for number, note in store.notes(Calibration).items() if kind_of(note) == kind
    ]


def kind_of(note: Calibration) -> Kind:
    """Whether it is a strip or a tablet."""
    from ...notes import StripPlan

    return "strip" if isinstance(note.plan, StripPlan) else "tablet"


def _sheet(store: Store, kind: Kind, number: str, note: Calibration) -> Sheet:
    standing = [k for k in store.parts(kind, number) if k.state != "void"]
    newest = standing[-1] if standing else None
    if note.dropped:
        state = "dropped"
    elif note.accepted:
        state = "accepted"
    elif newest is None:
        state = "planned"
    elif newest.state != "finished":
        state = "in the light"
    else:
        state = "exposed" if note.seen is None else "read"
    return Sheet(kind, number, note, newest, state)


def choose(place: Home, kind: Kind, number: str | None, states: tuple[str, ...] = OPEN) -> Sheet:
    """The one that is named, else the newest in one of the states. Raises `Refusal`."""
    from ..asking import journal
    from ..options import whole_id

    with journal(place) as store:
        every = sheets(store, kind)
    if number is not None:
        wanted = str(whole_id(number, kind))
        for sheet in every:
            if sheet.number == wanted:
                return sheet
        raise Refusal(f"no {kind} {wanted}; `uvdose {kind} list` shows them")
    fit = [sheet for sheet in every if sheet.state in states]
    if not fit:
        raise Refusal(f"no {kind} that is {' or '.join(states)}: `uvdose {kind} plan` begins one")
    return fit[-1]


def plan_lines(note: Calibration) -> list[str]:
    """What is planned, in lines."""
    from ...calibrate.series import Series, moments
    from ...notes import StripPlan
    from ...review.layout import figure, unit_text, with_unit, wrap

    plan = note.plan
    if isinstance(plan, StripPlan):
        doses = ", ".join(f"{i}: {figure(d)}" for i, d in enumerate(plan.doses, 1))
        lines = wrap(f"steps in {unit_text(note.unit)}  {doses}")
        lines += [
            f"  at {figure(moment.dose):>7}  {moment.words}" for moment in moments(Series(plan.doses, 0.0), plan.way)
        ]
    else:
        lines = [f"tablet of {plan.name}, dose {with_unit(plan.dose, note.unit)}"]
    through = "through the clear film of the negatives" if note.through_film else "without film over it"
    lines.append(f"printed {through}")
    lines += [f"{what.replace('_', ' ')}  {text}" for what, text in note.noted.items()]
    return lines


def next_line(sheet: Sheet) -> str:
    """What to do next with it."""
    k, n = sheet.kind, sheet.number
    return {
        "planned": f"next: lay it in the frame, covered, and `uvdose {k} run {n}`",
        "in the light": f"it lies in the light: `uvdose {k} run {n}` watches it",
        "exposed": f"next: wash and dry it, then `uvdose {k} read {n}`",
        "read": f"next: `uvdose {k} accept {n} --name TARGET`, or read it again",
        "accepted": f"it made target {sheet.note.accepted}",
        "dropped": "it was dropped",
    }[sheet.state]
