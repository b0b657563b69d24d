"""`uvdose strip`: a test strip by dose, from its plan to a target."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, cast

import typer

from ..noted import Coat, CoatingAge, Drying, FilmNoted, Humidity, Notes, Paper, Process, noted_of
from ..options import Ago, At, HomeDir, Json, home_of, moment
from ..questions import answer, number, one_of, whole
from .commands import Number, add_common
from .plan import FilmName, SensorName, Through, film_over, guide, keep_plan, sensor_and_unit
from .sheets import choose

if TYPE_CHECKING:
    from .sheets import Sheet

strip = typer.Typer(help="Test strips: a series of doses on one sheet, called step by step.", no_args_is_help=False)


@strip.callback(invoke_without_command=True)
def strip_guide(context: typer.Context, home: HomeDir = None) -> None:
    """A test strip: a series of doses on one sheet. Alone it asks, and goes on where the newest one stands."""
    if context.invoked_subcommand is None:
        guide(home_of(home), "strip", lambda: plan_strip(home=home))


@strip.command("plan")
def strip_plan(
    around: Annotated[float | None, typer.Option(metavar="DOSE", help="The dose you expect; the series lies around"
                                                 " it.")] = None,
    first: Annotated[float | None, typer.Option(metavar="DOSE", help="Or the dose of the first step.")] = None,
    step: Annotated[float | None, typer.Option(metavar="STOPS", help="From each step to the next; else 0.5.")] = None,
    count: Annotated[int | None, typer.Option(help="How many steps; else 7.")] = None,
    way: Annotated[str | None, typer.Option(metavar="cover|uncover", help="cover: the sheet lies open and the card"
                                            " covers step after step. uncover: it lies under the card.")] = None,
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
    """Plan a series: around the dose you expect, or from a first dose on."""
    plan_strip(around, first, step, count, way, sensor, through_film, film_base, {
        "process": process, "paper": paper, "coat": coat, "film": film, "humidity": humidity, "drying": drying,
        "coating_age": coating_age, "notes": notes,
    }, as_json, home)


def plan_strip(
    around: float | None = None, first: float | None = None, step: float | None = None, count: int | None = None,
    way: str | None = None, sensor: str | None = None, through_film: bool | None = None, film_base: str | None = None,
    noted: dict[str, str | None] | None = None, as_json: bool = False, home: str | None = None,
) -> Sheet:
    """Plan a strip, asking for what is not given."""
    from ...calibrate.series import plan_around, plan_series
    from ...model import Refusal
    from ...notes import Calibration, StripPlan
    from ...review.layout import unit_text
    from ...units import check_dose

    place = home_of(home)
    if around is not None and first is not None:
        raise Refusal("--around and --first cannot both be meant; leave one out", 2)
    name, unit = sensor_and_unit(place, sensor)
    if first is None:
        around = answer(around, f"the dose you expect to be right, {unit_text(unit)}", number, "--around or --first")
    step = answer(step, "stops from step to step", _step, "--step", "0.5")
    count = answer(count, "how many steps", _count, "--count", "7")
    way = one_of("cover", "uncover")(answer(way, "cover step after step, or uncover them", one_of("cover", "uncover"),
                                            "--way", "cover"))  # fmt: skip
    series = plan_series(first, step, count) if first is not None else plan_around(cast(float, around), step, count)
    for dose in series.doses:
        check_dose(dose, unit)
    through, base = film_over(place, through_film, film_base, usual=True)
    note = Calibration(
        StripPlan(series.doses, cast(Literal["cover", "uncover"], way)), unit, name,
        noted_of(noted or {}, ask=not as_json), base, through,
    )
    return keep_plan(place, "strip", note, as_json)


def _step(typed: str) -> float:
    """Stops from step to step, refused where they are asked for: what was answered before stays."""
    from ...calibrate.series import LEAST_STEPS, plan_series

    return plan_series(1.0, number(typed), LEAST_STEPS).step_stops


def _count(typed: str) -> int:
    """How many steps, the same way."""
    from ...calibrate.series import LEAST_STEP_STOPS, plan_series

    return len(plan_series(1.0, LEAST_STEP_STOPS, whole(typed)).doses)


add_common(strip, "strip")


@strip.command("moved")
def strip_moved(number: Number = None, ago: Ago = None, at: At = None, home: HomeDir = None) -> None:
    """The card was moved, just now or when you say: the dose of the step is fixed at it."""
    from ...asked import When
    from ...model import Refusal
    from ...review.layout import with_unit
    from ..asking import need_daemon
    from .run import say_moved, told_steps, trial_of

    place = home_of(home)
    sheet = choose(place, "strip", number, ("in the light",))
    if sheet.exposure is None or sheet.state != "in the light":
        raise Refusal(f"{sheet.name} is {sheet.state}: no card to move")
    when = moment(ago, at)
    moved = say_moved(need_daemon(place), sheet.exposure.plan.id, when)
    told, steps = told_steps(place, moved.id), trial_of(sheet).steps
    which = f", taken for: {steps[told[-1] - 1].words}" if told else ""
    dose = f" at {with_unit(moved.dose, moved.unit)}" if when == When() else ""
    print(f"{sheet.name}: card moved{dose}{which}")


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(strip, name="strip")
