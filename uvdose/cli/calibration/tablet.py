"""`uvdose tablet`: a step tablet under one dose, from its plan to a target."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...model import Refusal
from ..noted import Coat, CoatingAge, Drying, FilmNoted, Humidity, Notes, Paper, Process, noted_of
from ..options import HomeDir, Json, home_of
from ..questions import answer, number, text
from .commands import add_common
from .plan import FilmName, SensorName, Through, film_over, guide, keep_plan, sensor_and_unit

if TYPE_CHECKING:
    from ...calibrate.tablet import Tablet
    from .sheets import Sheet

MOST_FILE = 64 * 1024
FULL_STEPS = 4  # the expected dose is given under this step, so that three lie beyond it

tablet = typer.Typer(help="Step tablets: many doses at once, on one sheet.",
                     no_args_is_help=False)  # fmt: skip


@tablet.callback(invoke_without_command=True)
def tablet_guide(context: typer.Context, home: HomeDir = None) -> None:
    """A step tablet under one dose. Alone it asks, and goes on where the newest one stands."""
    if context.invoked_subcommand is None:
        guide(home_of(home), "tablet", lambda: plan_tablet(home=home))


@tablet.command("plan")
def tablet_plan(
    dose: Annotated[float | None, typer.Option(metavar="DOSE", help="The dose to give.")] = None,
    around: Annotated[float | None, typer.Option(metavar="DOSE", help="Or the dose you expect to be right: the tablet"
                                                 " gets so much that its fourth step does.")] = None,
    steps: Annotated[str | None, typer.Option("--tablet", metavar="COUNTxSTEP|FILE", help="21x0.15, 31x0.10, or a CSV"
                                              " file with the columns step,density.")] = None,
    sensor: SensorName = None,
    through_film: Through = None,
    film_base: FilmName = None,
    process: Process = None,
    paper: Paper = None,
    coat: Coat = None,
    film: FilmNoted = None,
    humidity: Humidity = None,
    drying: Drying = None,
    coating_age: CoatingAge = None,
    notes: Notes = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Plan a tablet print: which tablet, and what dose."""
    plan_tablet(dose, around, steps, sensor, through_film, film_base, {
        "process": process, "paper": paper, "coat": coat, "film": film, "humidity": humidity, "drying": drying,
        "coating_age": coating_age, "notes": notes,
    }, as_json, home)


def plan_tablet(
    dose: float | None = None, around: float | None = None, steps: str | None = None, sensor: str | None = None,
    through_film: bool | None = None, film_base: str | None = None, noted: dict[str, str | None] | None = None,
    as_json: bool = False, home: str | None = None,
) -> Sheet:
    """Plan a tablet print, asking for what is not given."""
    from ...notes import Calibration, TabletPlan
    from ...review.layout import unit_text
    from ...units import check_dose

    place = home_of(home)
    if dose is not None and around is not None:
        raise Refusal("--dose and --around cannot both be meant; leave one out", 2)
    name, unit = sensor_and_unit(place, sensor)
    known = read_tablet(answer(steps, "which tablet: 21x0.15, 31x0.10, or a file", text, "--tablet", "21x0.15"))
    if dose is None:
        around = answer(around, f"the dose you expect to be right, {unit_text(unit)}", number, "--dose or --around")
        check_dose(around, unit)
        dose = around * 10 ** known.densities[min(FULL_STEPS, len(known.densities)) - 1]
    check_dose(dose, unit)
    through, base = film_over(place, through_film, film_base, usual=False)
    plan = TabletPlan(dose, known.densities, known.name)
    note = Calibration(plan, unit, name, noted_of(noted or {}, ask=not as_json), base, through)
    return keep_plan(place, "tablet", note, as_json)


def read_tablet(given: str) -> Tablet:
    """A tablet from `COUNTxSTEP` or from a CSV file. Raises `Refusal`."""
    from ...calibrate.tablet import even, from_csv

    found = re.fullmatch(r"(\d{1,3})\s*[x×]\s*(\d*[.,]?\d+)", given.strip())
    if found is not None:
        return even(int(found[1]), float(found[2].replace(",", ".")))
    path = Path(given).expanduser()
    try:
        if not path.is_file():
            raise Refusal(f"tablet {given!r} is no file that is there: give one with step,density, or COUNTxSTEP"
                          " such as 21x0.15", 2)
        with path.open("rb") as file:
            data = file.read(MOST_FILE + 1)
    except (OSError, ValueError) as err:
        raise Refusal(f"tablet file {given!r} cannot be read ({err})", 2) from None
    if len(data) > MOST_FILE:
        raise Refusal(f"tablet file {given!r} is larger than {MOST_FILE} bytes: it is no list of steps", 2)
    try:
        told = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refusal(f"tablet file {given!r} is no UTF-8 text: save it as CSV, UTF-8", 2) from None
    try:
        return from_csv(told, path.name)
    except Refusal as err:
        raise Refusal(f"{path.name}, {err.line}", err.code) from None


add_common(tablet, "tablet")


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(tablet, name="tablet")
