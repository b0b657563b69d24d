"""What strips and tablets are planned with: the sensor, the film over the sheet, and what is noted of the paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ...model import Refusal
from ..questions import answer, at_terminal, text, yes

if TYPE_CHECKING:
    from ...config import Home
    from ...notes import Calibration, FilmDensity
    from .sheets import Kind, Sheet

Text = str | None

# Options of `plan`; typer reads them at run time.
SensorName = Annotated[
    Text, typer.Option("--sensor", help="The sensor beside the frame; needed where there are several.")
]
Through = Annotated[
    bool | None,
    typer.Option("--through-film/--no-film", help="Whether the negatives' clear film lies over the sheet."),
]
FilmName = Annotated[Text, typer.Option("--film-base", metavar="NAME|D", help="With --no-film: the clear film of later"
                                        " prints, as `uvdose film` has measured it, or its density.")]


def sensor_and_unit(place: Home, asked: str | None) -> tuple[str, str]:
    """The sensor that a sheet is measured by, and the unit of its doses. Raises `Refusal`."""
    from ...config import load_settings
    from ...dose.response import response_of

    sensors = {s.name: response_of(s).unit for s in load_settings(place).sensor}
    if asked is None and len(sensors) == 1:
        asked = next(iter(sensors))
    name = answer(asked, f"which sensor: {', '.join(sensors)}", text, "--sensor")
    if name not in sensors:
        raise Refusal(f"no sensor {name!r} in the settings: one of {', '.join(sensors)}", 2)
    return name, sensors[name]


def film_over(place: Home, through: bool | None, base: str | None, usual: bool) -> tuple[bool, FilmDensity | None]:
    """Whether the clear film lies over the sheet; else what is known of it. Raises `Refusal`."""
    if base is not None and through:
        raise Refusal("--film-base is for a sheet without the film over it: leave it out", 2)
    if through is None and base is None:
        through = yes("does the clear film of the negatives lie over the sheet", default=usual)
    if through:
        return True, None
    if base is None and at_terminal():
        base = answer(None, "the clear film of later prints: its name from `uvdose film`, its density, or - if unknown",
                      text, "--film-base", "-")
    return False, None if base in (None, "-") else known_film(place, base)


def known_film(place: Home, given: str) -> FilmDensity:
    """A film by its name, or by its density as a number. Raises `Refusal`."""
    from ...notes import Film, FilmDensity
    from ..asking import journal

    try:
        density = float(given.replace(",", "."))
    except ValueError:
        with journal(place) as store:
            films = store.notes(Film)
        film = films.get(given)
        if film is None or film.base is None:
            known = ", ".join(name for name, f in films.items() if f.base is not None)
            raise Refusal(f"no base of a film {given!r} was measured" + (f"; known: {known}" if known else
                          f": `uvdose film measure {given}` does it, or give its density")) from None
        return film.base
    if not 0 <= density <= 3:
        raise Refusal(f"film density {given}: give 0 to 3, such as 0.12", 2)
    return FilmDensity(density, density, density)


def keep_plan(place: Home, kind: Kind, note: Calibration, as_json: bool) -> Sheet:
    """Put a plan into the journal and tell it."""
    from ..keeping import keep_note
    from ..show import print_json, say
    from .sheets import Sheet, next_line, plan_lines

    number = keep_note(place, "calibration", None, note)
    sheet = Sheet(kind, number, note, None, "planned")
    if as_json:
        print_json({"kind": kind, "number": int(number), "state": "planned", "note": note})
    else:
        say("\n".join([f"{sheet.name}", *plan_lines(note), *known_lines(note), next_line(sheet)]))
    return sheet


def known_lines(note: Calibration) -> list[str]:
    """What is commonly known of the process: how to judge it, its dry-down, and its cautions."""
    from ...calibrate.processes import cautions, process, table
    from ...review.layout import wrap

    try:
        found = process(note.noted.get("process", ""))
    except Refusal:
        return []
    told = [f"judge it {found.judge.when}: {found.judge.look}", f"dry-down {found.dry_down.text}"]
    told += [f"caution  {c.text}" for c in cautions(found)]
    return [*(line for text in told for line in wrap(text, "", " " * 9)), *wrap(table().standing)]


def guide(place: Home, kind: Kind, plan: object) -> None:
    """Go on where the newest sheet stands: plan, run, read, accept. Asked step by step."""
    from ..asking import journal
    from ..show import say
    from .commands import accept_sheet, read_sheet, run_sheet, show_sheet
    from .read import Typed
    from .sheets import OPEN, choose, next_line, sheets

    if not at_terminal():
        raise Refusal(f"say what to do: `uvdose {kind} plan`, `run`, `read`, `accept`, `show` or `list`", 2)
    every = []
    if place.journal_file.exists():
        with journal(place) as store:
            every = [s for s in sheets(store, kind) if s.state in OPEN]
    if every and yes(f"go on with {every[-1].name} ({every[-1].state})", default=True):
        sheet = every[-1]
    else:
        assert callable(plan)
        sheet = plan()
    if sheet.state == "read":
        show_sheet(place, sheet, None, force=False, as_json=False)
        if yes("make this the target", default=True):
            accept_sheet(place, sheet)
            return
    if sheet.state == "planned" and yes("lay it in the light now", default=True):
        run_sheet(place, sheet, None, 3, wait=True)
    elif sheet.state == "in the light":
        run_sheet(place, sheet, None, 0, wait=True)
    elif (sheet.state == "exposed" and yes("is it dry, and shall it be read now", default=True)) or (
        sheet.state == "read" and yes("read it again")
    ):
        read_sheet(place, choose(place, kind, sheet.number), Typed(), None, as_json=False)
    else:
        say(next_line(sheet))
