"""The commands that strips and tablets share: run, moved, read, accept, show, list, drop, and the guided way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import msgspec
import typer

from ...model import Refusal
from ..options import HomeDir, Json, LightIn, home_of
from .read import Typed
from .sheets import OPEN, Kind, choose

if TYPE_CHECKING:
    from ...calibrate.sheet import Finding
    from ...config import Home
    from .sheets import Sheet

KEPT_S = 2.0  # for the end of a print to be on disk; a disk that is slower is told elsewhere
Text = str | None
Number = Annotated[str | None, typer.Argument(metavar="[NUMBER]", help="Which one; else the newest that fits.")]


def add_common(group: typer.Typer, kind: Kind) -> None:
    """Add the commands that both have."""

    @group.command("run")
    def run(
        number: Number = None,
        frame: Annotated[Text, typer.Option(help="Where the sheet lies; else frame 1.")] = None,
        count_in: Annotated[int, typer.Option(metavar="SECONDS", help="Begin after so many seconds.")] = 3,
        no_wait: Annotated[bool, typer.Option("--no-wait", help="Begin, and do not watch it.")] = False,
        light_in: LightIn = "",
        home: HomeDir = None,
    ) -> None:
        """Lay it in the light: it calls when something is to be done, and says what. Enter: done."""
        place = home_of(home)
        sheet = choose(place, kind, number, ("planned", "in the light"))
        run_sheet(place, sheet, frame, count_in, light_in, wait=not no_wait)

    @group.command("read")
    def read(
        number: Number = None,
        full: Annotated[Text, typer.Option(metavar="STEP", help="The step at which full tone ends.")] = None,
        tone: Annotated[Text, typer.Option(metavar="STEP", help="The step at which any tone ends; - if all show it.")]
        = None,
        right: Annotated[Text, typer.Option(metavar="STEP", help="The step that is right.")] = None,
        densities: Annotated[Text, typer.Option(metavar="'D D …'", help="Density of each step from step 1 on; - for one"
                                                                         " not read.")] = None,
        reflectances: Annotated[Text, typer.Option(metavar="'R R …'", help="Reflectance of each step, 0-1 or per"
                                                                           " cent.")] = None,
        greys: Annotated[Text, typer.Option(metavar="'G G …'", help="Grey value of each step from a picture; needs"
                                                                    " --white.")] = None,
        white: Annotated[float | None, typer.Option(help="Grey value of the bare paper or a white card.")] = None,
        black: Annotated[float | None, typer.Option(help="Grey value of black; else 0.")] = None,
        gamma: Annotated[float, typer.Option(help="Of the grey values: 1 linear, about 2.2 usual pictures.")] = 1.0,
        paper_base: Annotated[float | None, typer.Option(help="The same reading of bare paper after the whole"
                                                              " process.")] = None,
        full_below: Annotated[float, typer.Option(help="Full tone begins this far below the deepest density.")] = 0.05,
        name: Annotated[Text, typer.Option("--accept", metavar="NAME", help="Make it this target at once.")] = None,
        as_json: Json = False,
        home: HomeDir = None,
    ) -> None:
        """Read the dry sheet: steps picked by eye, or measured densities; tells the target that follows."""
        typed = Typed(full, tone, right, densities, reflectances, greys, white, black, gamma, paper_base, full_below)
        place = home_of(home)
        read_sheet(place, choose(place, kind, number, ("exposed", "read")), typed, name, as_json)

    @group.command("accept")
    def accept_it(
        number: Number = None,
        name: Annotated[Text, typer.Option(help="The target to set; a version is added if it is there.")] = None,
        dose: Annotated[float | None, typer.Option(help="Another dose than the one found.")] = None,
        safe: Annotated[bool, typer.Option("--safe", help="The safe dose of picked steps.")] = False,
        reason: Annotated[str, typer.Option(help="Why.")] = "",
        as_json: Json = False,
        home: HomeDir = None,
    ) -> None:
        """Make what was read a target."""
        place = home_of(home)
        accept_sheet(place, choose(place, kind, number, ("read",)), name, dose, safe, reason, as_json=as_json)

    @group.command("show")
    def show(
        number: Number = None,
        chart: Annotated[Text, typer.Option(metavar="FILE", help="Draw the curve into an SVG, PNG or PDF.")] = None,
        force: Annotated[bool, typer.Option("--force", help="With --chart: replace FILE if it is there.")] = False,
        as_json: Json = False,
        home: HomeDir = None,
    ) -> None:
        """What was planned, what it got and what it showed."""
        place = home_of(home)
        show_sheet(place, choose(place, kind, number, (*OPEN, "accepted")), chart, force, as_json)

    @group.command("list")
    def list_them(as_json: Json = False, home: HomeDir = None) -> None:
        """All of them, and what comes next."""
        from ...review.layout import columns
        from ..asking import journal
        from ..show import print_json, say
        from .sheets import next_line, sheets

        with journal(home_of(home)) as store:
            every = sheets(store, kind)
        if as_json:
            print_json([_plain(sheet) for sheet in every])
        elif not every:
            say(f"no {kind} yet: `uvdose {kind} plan` begins one")
        else:
            rows = [[kind, "state", "process", "paper", ""]]
            rows += [[s.number, s.state, s.note.noted.get("process", "-"), s.note.noted.get("paper", "-"), next_line(s)]
                     for s in every]
            say("\n".join(columns(rows)))

    @group.command("drop")
    def drop(number: Annotated[str, typer.Argument(metavar="NUMBER", help="Which one.")], home: HomeDir = None) -> None:
        """Give one up: it is kept, and no longer offered."""
        from ...notes import Calibration
        from ..keeping import change_note

        place = home_of(home)
        sheet = choose(place, kind, number)
        refuse_dropped(sheet)
        if sheet.state == "in the light" and sheet.exposure is not None:
            raise Refusal(f"{sheet.name} lies in the light: `uvdose finish {sheet.exposure.plan.id}` ends that first")
        change_note(place, Calibration, sheet.number,
                    lambda _, now: msgspec.structs.replace(now or sheet.note, dropped=True))  # fmt: skip
        print(f"{sheet.name}: dropped")


def run_sheet(
    place: Home, sheet: Sheet, frame: str | None, count_in: int, light_in: str = "", *, wait: bool
) -> None:
    """Begin it, or go on watching one that lies in the light."""
    from ...clock import real_s
    from ...review.layout import with_unit
    from ..acts import count_down
    from ..show import say
    from .run import first_words, say_counts_on, start_sheet, watch_sheet
    from .sheets import next_line

    begun_s: float | None = None
    if sheet.state == "in the light" and sheet.exposure is not None:
        number = sheet.exposure.plan.id
    else:
        begun_s = real_s()
        number = start_sheet(place, sheet, frame, count_in, light_in).id
        say(f"{sheet.name}: exposure {number}; pencil {sheet.name} on the back\nAt the start: {first_words(sheet)}")
    try:
        if begun_s is not None:
            count_down(begun_s + count_in, count_in)
        if not wait:
            return
        done = watch_sheet(place, sheet, number)
    except (KeyboardInterrupt, EOFError):
        say_counts_on(sheet, number)
        raise typer.Abort from None
    print(f"{sheet.name}: {done.state} at {with_unit(done.dose, done.unit)}")
    if done.state == "finished":
        say(next_line(_kept(place, sheet)))


def _kept(place: Home, sheet: Sheet) -> Sheet:
    """The sheet as the journal has it once its end is on disk, which may be a moment after the daemon told it."""
    from ...clock import pause, real_s

    until_s = real_s() + KEPT_S
    while (found := choose(place, sheet.kind, sheet.number)).state == "in the light" and real_s() < until_s:
        pause(0.1)
    return found


def read_sheet(place: Home, sheet: Sheet, typed: Typed, name: str | None, as_json: bool) -> None:
    """Take in what it showed, tell what follows, and accept it if that is wanted."""
    from ...notes import Calibration
    from ..keeping import change_note
    from ..show import print_json, say
    from .read import accept, ask_accept, finding_of, seen_of

    refuse_dropped(sheet)
    if sheet.state in ("planned", "in the light"):
        raise Refusal(f"{sheet.name} is {sheet.state}: it must be exposed and dry before it is read")
    seen = seen_of(sheet, typed)
    found = finding_of(place, sheet, seen)
    _, note = change_note(
        place, Calibration, sheet.number,
        lambda _, now: msgspec.structs.replace(now or sheet.note, seen=seen, accepted=None),
    )  # fmt: skip
    sheet = msgspec.structs.replace(sheet, note=note, state="read")
    if as_json:
        print_json(found)
    else:
        _say_found(sheet, found)
    name = name if as_json else ask_accept(sheet, name)
    if name is None:
        if not as_json:
            say(f"next: `uvdose {sheet.kind} accept {sheet.number} --name TARGET`, or read it again")
        return
    target = accept(place, sheet, found, name, None, False, "")
    if not as_json:
        _say_target(target.title, target.dose, target.unit)


def accept_sheet(
    place: Home, sheet: Sheet, name: str | None = None, dose: float | None = None, safe: bool = False,
    reason: str = "", *, as_json: bool = False,
) -> None:
    """Make what was read a target, once."""
    from ..show import print_json
    from .read import accept, ask_name, finding_of

    refuse_dropped(sheet)
    if sheet.state == "accepted":
        raise Refusal(f"{sheet.name} made target {sheet.note.accepted} already; read it again to make another")
    if sheet.note.seen is None:
        raise Refusal(f"{sheet.name} was not read yet: `uvdose {sheet.kind} read {sheet.number}`")
    found = finding_of(place, sheet, sheet.note.seen)
    target = accept(place, sheet, found, ask_name(sheet, name), dose, safe, reason)
    if as_json:
        print_json(target)
    else:
        _say_target(target.title, target.dose, target.unit)


def refuse_dropped(sheet: Sheet) -> None:
    """One that was given up makes no target. Raises `Refusal`."""
    if sheet.state == "dropped":
        raise Refusal(f"{sheet.name} was dropped: `uvdose {sheet.kind} plan` begins a new one")


def show_sheet(place: Home, sheet: Sheet, chart: str | None, force: bool, as_json: bool) -> None:
    """Everything of one sheet."""
    from pathlib import Path

    from ...review.curve_chart import draw_curve
    from ..show import print_json, say
    from .read import finding_of
    from .sheets import next_line, plan_lines

    found = finding_of(place, sheet, sheet.note.seen) if sheet.note.seen is not None else None
    if chart is not None:
        if Path(chart).is_file() and not force:
            raise Refusal(f"{chart} is there already: choose another name, or say --force")
        if found is None:
            raise Refusal(f"{sheet.name} was not read yet: there is no curve to draw")
        title = ", ".join([sheet.name, *(sheet.note.noted[k] for k in ("process", "paper") if k in sheet.note.noted)])
        draw_curve(found, sheet.note.unit, title, Path(chart))
    if as_json:
        print_json(_plain(sheet) | {"found": found})
        return
    print(f"{sheet.name}: {sheet.state}")
    print("\n".join(plan_lines(sheet.note)))
    if found is not None:
        _say_found(sheet, found)
    say(next_line(sheet))
    if chart is not None:
        print(f"drawn into {chart}")


def _say_found(sheet: Sheet, found: Finding) -> None:
    from ...review.curve_text import curve_lines
    from ..show import say
    from .read import finding_lines

    say("\n".join([*curve_lines(found, sheet.note.unit), *finding_lines(sheet.note, found)]))


def _say_target(title: str, dose: float, unit: str) -> None:
    from ...review.layout import with_unit

    print(f"target {title}: {with_unit(dose, unit)}; a first print at it proves it")


def _plain(sheet: Sheet) -> dict[str, object]:
    doc = sheet.exposure.document if sheet.exposure is not None else None
    return {"kind": sheet.kind, "number": int(sheet.number), "state": sheet.state, "note": sheet.note, "exposure": doc}
