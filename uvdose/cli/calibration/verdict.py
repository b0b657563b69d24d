"""`uvdose verdict`: what the dry print showed, and the target that follows from it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, cast

import msgspec
import typer

from ...model import Refusal
from ..options import HomeDir, Json, home_of, whole_id
from ..questions import answer, at_terminal, number, one_of, yes

if TYPE_CHECKING:
    from ...calibrate.verdicts import Curve
    from ...config import Home
    from ...exposure.target import Target
    from ...journal.store import Kept
    from ...notes import Verdict
    from ...review.judging import Judged

Text = str | None
TONES = ("light", "right", "dark")
HIGHLIGHTS = ("blocked", "right", "blank")
MOST_STOPS = 5.0
MOST_NAMED = 20  # prints in a target's basis, which is one line


def verdict(
    print_id: Annotated[Text, typer.Argument(metavar="[ID]", help="The print's number; else the oldest without a"
                                             " verdict.")] = None,
    tone: Annotated[Text, typer.Option(metavar="light|right|dark", help="The tone under the clear film.")] = None,
    stops: Annotated[float | None, typer.Option(help="By how many stops; without --tone above 0 is too dark.")] = None,
    density: Annotated[float | None, typer.Option(help="Or its measured density.")] = None,
    highlights: Annotated[Text, typer.Option(metavar="blocked|right|blank", help="The highlights: they speak of the"
                                             " negative, never of the dose.")] = None,
    note: Annotated[str, typer.Option(help="Anything else to keep.")] = "",
    accept: Annotated[bool, typer.Option("--accept", help="Take the proposed target at once.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Judge a dry print: its tone, and its highlights.

    The tone is that under the clear film. Proposes a target; nothing is changed until that is accepted.
    """
    from ...calibrate.verdicts import by_density
    from ...notes import Verdict
    from ...review.judging import judge
    from ...review.layout import with_unit
    from ..asking import journal
    from ..keeping import change_note
    from ..show import print_json, say

    place = home_of(home)
    kept = _print(place, print_id)
    asked = tone is None and stops is None and density is None and highlights is None
    if asked:
        if not at_terminal():
            raise Refusal(f"say what print {kept.plan.id} showed: --tone light|right|dark, or --stops, or --density;"
                          " and --highlights blocked|right|blank", 2)  # fmt: skip
        tone, stops, highlights = _ask(kept)
    said = _checked(tone, stops, density, highlights, note)
    name = kept.plan.target.name
    curve = _curve(place, name)
    if density is not None and tone is None and stops is None and curve is not None:
        by_density(kept.document.dose_as_proved, density, curve)  # refused before it is kept where it says nothing
    change_note(place, Verdict, str(kept.plan.id), lambda _, before: said if asked else _with_before(before, said))
    if density is not None and tone is None and stops is None and curve is None:
        raise Refusal(f"noted; but a density tells the dose only where target {name} rests on a measured strip or"
                      " tablet: give --tone as well")  # fmt: skip
    with journal(place) as store:
        judged = judge(store, name, curve)
    if not as_json:
        if kept.plan.id not in judged.prints and (tone, stops, density) != (None, None, None):
            say(_uncounted(kept, judged.target))
        _say(judged)
    if accept and judged.target.retired:
        raise Refusal(f"noted; but target {name} is retired ({judged.target.reason}): `uvdose target set {name} --dose"
                      " …` takes it into use again")  # fmt: skip
    change = judged.proposal.change and not judged.target.retired
    take = change and (accept or (not as_json and yes("take it as the new target")))
    target = _take(place, judged) if take else None
    if as_json:
        told = {"print": kept.plan.id, "proposal": judged.proposal, "prints": judged.prints, "target": target}
        print_json(told)
    elif target is not None:
        print(f"target {target.title}: {with_unit(target.dose, target.unit)}")
    elif change:
        say(f"nothing was changed; `uvdose verdict {kept.plan.id} … --accept` takes it")


def _print(place: Home, number: str | None) -> Kept:
    """The print that is judged. Raises `Refusal`."""
    from ...notes import Verdict
    from ..asking import journal

    with journal(place) as store:
        if number is not None:
            kept = store.exposure(whole_id(number, "print"))
        else:
            judged = store.notes(Verdict)
            finished = [k for k in store.finished() if k.plan.target.version]
            waiting = [k for k in finished if str(k.plan.id) not in judged]
            if not finished:
                raise Refusal("no print is finished yet: a verdict is given when one is washed and dry")
            if not waiting:
                raise Refusal("every finished print has its verdict: name one by its number to change it")
            kept = waiting[0]
    if kept.state != "finished":
        raise Refusal(f"exposure {kept.plan.id} is {kept.state}: only a finished print can be judged")
    if not kept.plan.target.version:
        kind = kept.plan.target.name.split(" ")[0]
        raise Refusal(f"exposure {kept.plan.id} is {kept.plan.target.name}: read it with `uvdose {kind} read`")
    return kept


def _uncounted(kept: Kept, newest: Target) -> str:
    """Why a judged print says nothing of the dose that is proposed."""
    from ...dose.response import same_sensor

    used = kept.plan.target
    if kept.plan.overridden or not same_sensor(used.identity, newest.identity) or used.unit != newest.unit:
        why = "it was measured by another sensor or setting"
    elif used.combination.paper != newest.combination.paper:
        why = f"it is on other paper ({used.combination.paper or 'not noted'})"
    else:
        why = f"it was printed by {used.title}, before the print that {newest.title} rests on"
    return f"print {kept.plan.id} is noted, and not counted: {why}"


def _ask(kept: Kept) -> tuple[str | None, float | None, str | None]:
    """The two questions, apart, since exposure and contrast are easily confused."""
    label = f", {kept.plan.label}" if kept.plan.label else ""
    if at_terminal():
        print(f"print {kept.plan.id}{label}: {kept.plan.target.title}, washed and dry")
    tone = answer(None, "1. tone under the clear film: light, right, dark, or - if you cannot tell",
                  one_of(*TONES, "-"), "--tone, --stops or --highlights")  # fmt: skip
    stops = None
    if tone in ("light", "dark"):
        told = answer(None, "   by how many stops, - if you cannot tell", _stops_or_none, "--stops", "-")
        stops = None if told == "-" else abs(number(told)) * (1 if tone == "dark" else -1)
    highlights = answer(None, "2. the highlights: blocked, right, blank, or - if you cannot tell",
                        one_of(*HIGHLIGHTS, "-"), "--highlights", "-")  # fmt: skip
    return None if tone == "-" else tone, stops, None if highlights == "-" else highlights


def _stops_or_none(typed: str) -> str:
    return "-" if typed in ("-", "") else str(number(typed))


def _checked(
    tone: str | None, stops: float | None, density: float | None, highlights: str | None, note: str
) -> Verdict:
    """The verdict as it is kept. Raises `Refusal`."""
    from ...notes import Verdict

    if tone is not None:
        tone = one_of(*TONES)(tone)
    if tone == "light" and stops is not None:
        stops = -abs(stops)  # "too light by half a stop" is how it is said
    if highlights is not None:
        highlights = one_of(*HIGHLIGHTS)(highlights)
    if stops is not None and not abs(stops) <= MOST_STOPS:
        raise Refusal(f"{stops:g} stops off: give -{MOST_STOPS:g} to {MOST_STOPS:g}", 2)
    side = {None: 0, "light": -1, "right": 0, "dark": 1}[tone]
    if tone is not None and stops is not None and (stops > 0) - (stops < 0) != side:
        raise Refusal(f"{tone} and {stops:+g} stops contradict each other: + is too dark, - too light, 0 right", 2)
    if density is not None and not 0 <= density <= 5:
        raise Refusal(f"density {density:g}: give 0 to 5, such as 1.42", 2)
    return Verdict(
        cast(Literal["light", "right", "dark"] | None, tone), stops, density,
        cast(Literal["blocked", "right", "blank"] | None, highlights), note,
    )


def _with_before(before: Verdict | None, said: Verdict) -> Verdict:
    """Tone and highlights are judged apart, and may be on two days: what is not said now stays as it was said."""
    if before is None:
        return said
    if said.tone is None and said.stops is None and said.density is None:
        said = msgspec.structs.replace(said, tone=before.tone, stops=before.stops, density=before.density)
    return msgspec.structs.replace(
        said, highlights=said.highlights or before.highlights, text=said.text or before.text
    )


def _curve(place: Home, name: str) -> Curve | None:
    """Of the measured strip or tablet that a target rests on; None where it rests on none."""
    from ...calibrate.verdicts import Curve
    from ...review.judging import CALIBRATED
    from ..asking import journal
    from .read import finding_of
    from .sheets import choose

    with journal(place) as store:
        bases = [t.basis for t in reversed(store.versions(name)) if t.basis.startswith(CALIBRATED)]
    if not bases:
        return None
    kind, _, number_of = bases[0].partition(" ")
    sheet = choose(place, cast(Literal["strip", "tablet"], kind), number_of)
    seen = sheet.note.seen
    if seen is None or not seen.values:
        return None
    try:
        found = finding_of(place, sheet, seen)
    except Refusal:
        return None  # its raw readings may be pruned: then the words alone speak
    return Curve(found.curve_x, found.curve_y, found.full_log.best)


def _say(judged: Judged) -> None:
    from ...review.layout import wrap

    print("\n".join([*wrap(judged.proposal.sentence), *wrap(judged.proposal.advice)]), flush=True)


def _take(place: Home, judged: Judged) -> Target:
    from ...asked import TargetRequest
    from ..keeping import keep_target

    old, new = judged.target, judged.proposal
    prints = ", ".join(str(number) for number in judged.prints[-MOST_NAMED:])
    if len(judged.prints) > MOST_NAMED:
        prints = f"{len(judged.prints)} prints, the newest {prints}"
    return keep_target(place, TargetRequest(
        name=old.name, dose=new.dose, unit=old.unit, reason=new.sentence, basis=f"verdicts of {prints}", low=new.low,
        high=new.high, proved_light=old.proved_light,
    ))


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(verdict)
