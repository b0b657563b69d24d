"""`uvdose film`: film base and negatives measured in ultraviolet, with the sensor that counts the light."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Annotated

import msgspec
import typer

from ...model import Refusal
from ..options import HomeDir, Json, home_of
from ..questions import answer, at_terminal, one_of, wait_for_enter

if TYPE_CHECKING:
    from ...calibrate.film import Stretch
    from ...config import Home
    from ...notes import Film, FilmDensity
    from ..asking import Daemon

Text = str | None
PARTS = ("base", "highlight", "shadow")
SETTLE_S = 1.0  # after the hand has gone
LEAST_S, MOST_S = 3.0, 600.0
LEAST_FILM = 0.005  # clear film takes more
HOW = "Lay the film flat on the sensor's diffuser, covering it wholly, in steady light; keep the hand's shadow off."
WHAT = "This is density in the sensor's own band. Ink and film may differ for the emulsion, so a print confirms it."

films = typer.Typer(help="Film base and negatives: their density in ultraviolet.", no_args_is_help=False)


@films.callback(invoke_without_command=True)
def film_guide(context: typer.Context, home: HomeDir = None) -> None:
    """Density of film in ultraviolet. Alone it asks what to measure."""
    if context.invoked_subcommand is None:
        if not at_terminal():
            raise Refusal("say what to do: `uvdose film measure NAME`, `show NAME` or `list`", 2)
        film_measure(home=home)


@films.command("measure")
def film_measure(
    name: Annotated[Text, typer.Argument(metavar="NAME", help="What the film or the negative is called.")] = None,
    part: Annotated[Text, typer.Option(metavar="base|highlight|shadow", help="What of it: the clear base, the densest"
                                       " highlight, the thinnest shadow.")] = None,
    seconds: Annotated[float, typer.Option(help="How long each stretch is read.")] = 10.0,
    sensor: Annotated[Text, typer.Option(help="Which sensor; needed where there are several.")] = None,
    at: Annotated[list[str] | None, typer.Option("--at", metavar="HH:MM:SS-HH:MM:SS", help="Stretches read before, out"
                                                 " of the journal: bare, film, bare.")] = None,
    typed: Annotated[list[float] | None, typer.Option("--reading", metavar="IRRADIANCE", help="Or typed readings: bare,"
                                                      " film, bare; zero taken off.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Measure bare, through the film, bare again; told with the drift of the light between."""
    from ...calibrate.film import Stretch, measure_film
    from ...notes import Film, FilmDensity
    from ...review.layout import wrap
    from ..keeping import change_note
    from ..show import print_json

    place = home_of(home)
    if at and typed:
        raise Refusal("--at and --reading cannot both be meant; leave one out", 2)
    name = answer(name, "what is the film called", _name, "NAME")
    _name(name)
    part = one_of(*PARTS)(answer(part, "base, highlight or shadow", one_of(*PARTS), "--part", "base"))
    if typed:
        stretches = [Stretch(value, 0.0, float(i), 1.0) for i, value in enumerate(typed)]
        zero_u = 0.0
    else:
        spans = [_span(s) for s in at] if at else _read_live(place, seconds, sensor)
        stretches, zero_u = _stretches(place, spans, sensor)
    found = measure_film(stretches, zero_u)
    density = FilmDensity(found.density.low, found.density.best, found.density.high)
    change_note(place, Film, name, lambda _, old: msgspec.structs.replace(old or Film(), **{part: density}))
    if as_json:
        print_json(found)
        return
    print(f"film {name}, {part}: density {density.best:.3f} ({density.low:.3f}-{density.high:.3f}),"
          f" {found.stops.best:.2f} stop ({found.stops.low:.2f}-{found.stops.high:.2f})")
    if density.best < LEAST_FILM:
        print(f"nothing was held back, as no film does: did it cover the sensor? `uvdose film measure {name}`"
              " measures it again")
    print("\n".join(wrap(WHAT)))


@films.command("show")
def film_show(
    name: Annotated[str, typer.Argument(metavar="NAME")],
    target: Annotated[Text, typer.Option(help="Against the paper's range of this target.")] = None,
    scale: Annotated[float | None, typer.Option(help="Or against this range of the paper, log10.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """What was measured of a film; with a target whether its negative fits the paper."""
    from ...calibrate.estimate import Estimate
    from ...calibrate.film import fits_paper
    from ...notes import Film
    from ...review.layout import wrap
    from ..asking import journal
    from ..show import print_json

    with journal(home_of(home)) as store:
        known = store.notes(Film)
        if name not in known:
            raise Refusal(f"no film {name!r}" + (f"; known: {', '.join(known)}" if known else ": `uvdose film measure"
                          f" {name}` begins one"))  # fmt: skip
        if target is not None:
            if scale is not None:
                raise Refusal("--target and --scale cannot both be meant; leave one out", 2)
            scale = store.versions(target)[-1].exposure_scale
            if scale is None:
                raise Refusal(f"target {target} knows no range of its paper: read a tablet, or give it with --scale")
    film = known[name]
    fit = None
    if scale is not None:
        if film.highlight is None or (film.shadow is None and film.base is None):
            raise Refusal(f"film {name}: measure its highlight and its shadow (or its base) first: `uvdose film measure"
                          f" {name} --part highlight`")  # fmt: skip
        thin = film.shadow or film.base
        assert thin is not None
        dense, clear = (Estimate(d.low, d.best, d.high) for d in (film.highlight, thin))
        fit = fits_paper(dense, clear, scale)
    if as_json:
        print_json({"name": name, "film": film, "fit": fit})
        return
    print("\n".join([f"film {name}", *_lines(film), *([] if fit is None else wrap(fit.sentence)), *wrap(WHAT)]))


@films.command("list")
def film_list(as_json: Json = False, home: HomeDir = None) -> None:
    """All films and negatives that were measured."""
    from ...notes import Film
    from ...review.layout import columns
    from ..asking import journal
    from ..show import print_json, say

    with journal(home_of(home)) as store:
        known = store.notes(Film)
    if as_json:
        print_json(known)
    elif not known:
        say("no film yet: `uvdose film measure NAME` begins one")
    else:
        rows = [["film", *PARTS]]
        rows += [[name, *(_short(getattr(film, part)) for part in PARTS)] for name, film in known.items()]
        print("\n".join(columns(rows, right=(1, 2, 3))))


def _name(typed: str) -> str:
    if not re.fullmatch(r"[\w][\w.+-]{0,59}", typed):
        raise Refusal(f"film name {typed!r}: use letters, digits, . _ + - (at most 60, no space)", 2)
    if re.fullmatch(r"[\d.+-]+", typed):
        raise Refusal(f"film name {typed!r} would be taken for a density: give it a letter", 2)
    return typed


def _short(density: FilmDensity | None) -> str:
    return "-" if density is None else f"{density.best:.3f}"


def _lines(film: Film) -> list[str]:
    from ...units import STOP_LOG10

    lines = []
    for part in PARTS:
        d = getattr(film, part)
        if d is not None:
            stops = d.best / STOP_LOG10
            lines.append(f"  {part:<9}  density {d.best:.3f} ({d.low:.3f}-{d.high:.3f}), {stops:.2f} stop")
    if film.highlight is not None and (thin := film.shadow or film.base) is not None:
        lines.append(f"  range      {film.highlight.best - thin.best:.2f}")
    return lines


def _read_live(place: Home, seconds: float, sensor: str | None) -> list[tuple[str, str]]:
    """Three stretches of now, each begun by the person; as the daemon's own times."""
    from ...exposure.states import ENDED, State
    from ...review.layout import wrap
    from ..asking import need_daemon
    from .plan import sensor_and_unit

    if not LEAST_S <= seconds <= MOST_S:
        raise Refusal(f"--seconds {seconds:g}: give {LEAST_S:g} to {MOST_S:g}", 2)
    if not at_terminal():
        raise Refusal("nobody can lay the film on: give stretches with --at, or readings with --reading", 2)
    daemon = need_daemon(place)
    name, _ = sensor_and_unit(place, sensor)
    for shown in daemon.status().exposures:
        if shown.sensor == name and shown.state not in (*ENDED, State.HELD):
            raise Refusal(f"exposure {shown.id} is counted by {name}: the film on it would take its light away; hold"
                          " or finish it first")  # fmt: skip
    print("\n".join(wrap(HOW)))
    spans = []
    for words in ("the sensor bare", "the film on the sensor", "the film off again"):
        wait_for_enter(f"{words}: press Enter")
        spans.append(_one_stretch(daemon, seconds))
    _settle(daemon, 1.5)
    return spans


def _one_stretch(daemon: Daemon, seconds: float) -> tuple[str, str]:
    begin = _settle(daemon, SETTLE_S)
    return begin, _settle(daemon, seconds)


def _settle(daemon: Daemon, seconds: float) -> str:
    """Wait so many seconds of real time; returns the daemon's time then."""
    from ...clock import pause

    pause(seconds)
    return daemon.status().utc


def _span(given: str) -> tuple[str, str]:
    begin, dash, end = given.partition("-")
    if not dash or not re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", begin.strip()) or not re.fullmatch(
        r"\d{1,2}:\d{2}(:\d{2})?", end.strip()
    ):
        raise Refusal(f"stretch {given!r}: give two times of today, such as 10:02:00-10:02:15", 2)
    return begin.strip(), end.strip()


def _stretches(place: Home, spans: list[tuple[str, str]], sensor: str | None) -> tuple[list[Stretch], float]:
    """Means out of the journal, and the zero's standard uncertainty in the same unit."""
    from ...clock import host_wall_us
    from ...config import load_settings
    from ...dose.response import response_of
    from ...stamps import at_local, from_iso
    from ...units import irradiance_unit, to_screen
    from ..asking import journal
    from .plan import sensor_and_unit

    name, unit = sensor_and_unit(place, sensor)
    settings = next(s for s in load_settings(place).sensor if s.name == name)
    response = response_of(settings)
    zero_u = to_screen(response.factor * response.zero_u, irradiance_unit(unit))

    def moment(text: str) -> int:
        try:
            return from_iso(text) if "T" in text else at_local(text, host_wall_us())
        except ValueError:
            raise Refusal(f"time {text!r}: give HH:MM:SS of today, such as 10:02:00", 2) from None

    with journal(place) as store:
        return [_stretch(store, name, moment(a), moment(b)) for a, b in spans], zero_u


def _stretch(store: object, sensor: str, wall0_us: int, wall1_us: int) -> Stretch:
    from ...calibrate.film import Stretch
    from ...dose.integrator import reading_value
    from ...journal.store import Store
    from ...review.raw import Scale, runs
    from ...units import US_PER_S

    assert isinstance(store, Store)
    values: list[float] = []
    for run in runs(store, wall0_us, wall1_us):
        if run.identity.name == sensor:
            if run.saturated:
                raise Refusal(f"{sensor} was saturated in a stretch, so that its light is not known: measure in weaker"
                              " light")  # fmt: skip
            scale = Scale(run.identity)
            values += [scale.irradiance(reading_value(reading)) for _, _, reading in run.rows]
    n = len(values)
    if n < 3:
        raise Refusal(f"only {n} readings of {sensor} in a stretch: make it longer, or see `uvdose status`")
    mean = math.fsum(values) / n
    u = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (n - 1) / n)
    return Stretch(mean, u, (wall0_us + wall1_us) / 2 / US_PER_S, (wall1_us - wall0_us) / US_PER_S, n)


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(films, name="film")
