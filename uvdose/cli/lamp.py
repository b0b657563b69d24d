"""`uvdose lamp`: is it warm, how does it age, how even is its bed, what does distance do. For sensors under a lamp.

What flicker does is told by `lamp_flicker`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from . import lamp_flicker
from .lit import under_lamp
from .options import HomeDir, Json, finite, home_of
from .questions import at_terminal, wait_for_enter

if TYPE_CHECKING:
    from ..config import SensorSettings
    from ..light.evenness import Evenness
    from .sensor.gather import Bench

Name = Annotated[str | None, typer.Argument(metavar="[NAME]", help="The sensor; needed where there are several.")]

LOOK_BACK_S = 3600.0
LEAST_PRINTS, LEAST_DAYS = 3, 14.0
MONTHS = 12.0
MOST_SIDE = 12
CAUTION = (
    "Ultraviolet lamps burn eyes and skin, also where they look dim. Switch it off while you move the sensor, or wear"
    " the eye protection made for it and cover your skin; its data sheet goes before this."
)

lamps = typer.Typer(help="The lamp: is it warm, how it ages, how even its bed is.", no_args_is_help=True,
                    rich_markup_mode=None)  # fmt: skip


@lamps.command("warm")
def warm(name: Name = None, as_json: Json = False, home: HomeDir = None) -> None:
    """Whether the lamp is steady, and since when, by the last hour; ends with 4 while it is not. Needs the daemon."""
    from ..dose.integrator import reading_value
    from ..light.steady import since_when
    from ..review.layout import wrap
    from ..units import US_PER_S, minutes
    from .sensor.gather import need_bench
    from .show import print_json, say

    bench = need_bench(home_of(home))
    sensor = under_lamp(bench.sensor(name))
    bench.now(sensor.name)
    rows = bench.readings(sensor.name, bench.newest_us(sensor.name) - int(LOOK_BACK_S * US_PER_S))
    seconds: dict[int, list[float]] = {}  # one mean a second says as much, and is soon reckoned
    for t_us, reading in rows:
        seconds.setdefault(t_us // US_PER_S, []).append(reading_value(reading) - sensor.zero)
    try:
        found = since_when([float(t) for t in seconds], [sum(v) / len(v) for v in seconds.values()])
    except ValueError as err:
        raise Refusal(f"sensor {sensor.name}: {err}") from None
    if as_json:
        print_json(found)
    else:
        on = "on since before its readings begin" if found.on_s is None else f"on for {minutes(found.on_s)}"
        change = ""
        if found.now.steady is not None:
            low, high = (f"{100 * c:+.1f}" for c in (found.now.change_low, found.now.change_high))
            change = f": its light changed by {100 * found.now.change:+.1f} % in two minutes ({low} to {high})"
        if found.since_s is not None:
            say("\n".join(wrap(f"the lamp is {on}, and steady since {minutes(found.since_s)}{change}")))
        elif found.now.steady is None:
            say(f"the lamp is {on}: two minutes of readings are wanted to tell whether it is steady")
        else:
            left = found.now.settles_in_s
            when = "" if left is None else f"; at this pace it will be in about {minutes(left)}"
            say("\n".join(wrap(f"the lamp is {on}, and not steady yet{change}{when}")))
    if found.since_s is None:
        raise Refusal("the lamp is not steady yet: a dose counts right all the same, but the time it takes does not")


@lamps.command("ageing")
def ageing_of(name: Name = None, as_json: Json = False, home: HomeDir = None) -> None:
    """How fast the lamp loses its light, by the mean irradiance of the prints in the journal; per cent a month."""
    from ..config import load_settings
    from ..dose.response import differences, identity_of
    from ..light.lamps import ageing
    from ..review.layout import figure, unit_text, wrap
    from ..settings_edit import sensor_in
    from ..units import US_PER_S, irradiance_unit
    from .asking import journal
    from .show import print_json, say

    place = home_of(home)
    sensor = under_lamp(sensor_in(load_settings(place), name))
    prints: list[tuple[float, float]] = []
    with journal(place) as store:
        now = identity_of(sensor, store.known_who().get(sensor.name))
        for kept in store.finished():
            shown = kept.document
            lit_s = shown.measured_s + shown.bridged_s
            day = kept.begin_wall_us / US_PER_S / 86_400
            if kept.plan.sensor == sensor.name and not differences(kept.identity, now) and shown.dose > 0 < lit_s:
                prints.append((day, shown.dose / lit_s))
    days, light = [day for day, _ in sorted(prints)], [strength for _, strength in sorted(prints)]
    span = days[-1] - days[0] if days else 0.0
    if len(days) < LEAST_PRINTS or span < LEAST_DAYS:
        raise Refusal(f"too little to tell an ageing by: {len(days)} prints over {span:.0f} days under this lamp and"
                      f" sensor setting; at least {LEAST_PRINTS} over {LEAST_DAYS:.0f} days are wanted")  # fmt: skip
    found = ageing(days, light)
    best, low, high = (100 * _a_month(share) for share in (found.per_year, found.low, found.high))
    if as_json:
        print_json({"sensor": sensor.name, "prints": len(days), "days": span, "per_month": best / 100,
                    "per_month_low": low / 100, "per_month_high": high / 100, "ageing": found})  # fmt: skip
        return
    unit = unit_text(irradiance_unit(shown_unit(sensor)))
    lines = [f"{len(days)} prints over {span:.0f} days: the lamp loses {best:.1f} % a month ({low:.1f} to {high:.1f});"
             f" the first had {figure(light[0])}, the last {figure(light[-1])} {unit}"]  # fmt: skip
    if low <= 0 <= high:
        lines.append("no ageing is to be seen yet")
    elif found.loses_tenth_days is not None:
        lines.append(f"at this pace a tenth of it is gone {found.loses_tenth_days:.0f} days after the first print")
    lines.append("by the calendar, not by hours of burning; a sensor or a lamp that was moved looks the same")
    say("\n".join(line for text in lines for line in wrap(text)))


@lamps.command("evenness")
def evenness_of(
    name: Name = None,
    rows: Annotated[int, typer.Option(help="How many rows of places.")] = 3,
    columns: Annotated[int, typer.Option(help="How many places in a row.")] = 3,
    seconds: Annotated[float, typer.Option(metavar="N", help="How long to read in each place.")] = 3.0,
    home: HomeDir = None,
) -> None:
    """Walk the sensor over the bed, Enter at each place: a map, and how even the light lies. Needs the daemon."""
    from ..light.evenness import evenness
    from ..notes import Bed
    from ..review.layout import wrap
    from .keeping import keep_note
    from .sensor.gather import need_bench
    from .show import say

    if not (1 <= rows <= MOST_SIDE and 1 <= columns <= MOST_SIDE and rows * columns > 1):
        raise Refusal(f"{rows} rows of {columns} places: give 1 to {MOST_SIDE} of each, and two places at least", 2)
    finite(seconds, "--seconds", 0.99, 60.0, "3")
    bench = need_bench(home_of(home))
    sensor = under_lamp(bench.sensor(name))
    bench.now(sensor.name)
    bench.refuse_lit(sensor.name, "walking it over the bed")
    if not at_terminal():
        raise Refusal("somebody must move the sensor and press Enter: call it at a terminal", 2)
    say("\n".join(wrap(CAUTION)))
    grid: list[list[float | None]] = []
    for row in range(rows):
        grid.append([])
        for column in range(columns):
            wait_for_enter(f"row {row + 1}, place {column + 1}: lay it there, and press Enter")
            grid[-1].append(_place(bench, sensor, seconds))
    wait_for_enter("row 1, place 1 once more, and press Enter")
    try:
        found = evenness(grid, _place(bench, sensor, seconds))
    except ValueError as err:
        raise Refusal(str(err)) from None
    keep_note(bench.place, "bed", sensor.name,
              Bed(found.relative, found.min_over_mean, found.max_over_mean, found.stops, found.drift))  # fmt: skip
    say("\n".join(bed_lines(found)))


@lamps.command("distance")
def distance(
    from_cm: Annotated[float, typer.Argument(metavar="FROM", help="From this distance, in cm.")],
    to_cm: Annotated[float, typer.Argument(metavar="TO", help="To this one.")],
    radius: Annotated[float, typer.Option(metavar="CM", help="Half the width of a lamp that is a panel; 0: a small"
                                                              " one.")] = 0.0,
    as_json: Json = False,
) -> None:
    """By what the light changes with the lamp's distance, on its axis."""
    from ..light.lamps import distance_factor
    from ..units import stops_between
    from .show import print_json

    for what, value in (("FROM", from_cm), ("TO", to_cm)):
        finite(value, what, 0.0, 10_000.0, "30")
    if radius != 0:
        finite(radius, "--radius", 0.0, 10_000.0, "20")
    factor = distance_factor(from_cm / 100, to_cm / 100, radius / 100)
    if as_json:
        print_json({"factor": factor, "stops": stops_between(factor, 1.0)})
    else:
        stops = stops_between(factor, 1.0)
        print(f"from {from_cm:g} to {to_cm:g} cm: {factor:.3g} times the light ({stops:+.2f} stop); a print takes"
              f" {1 / factor:.3g} times as long")


def bed_lines(found: Evenness) -> list[str]:
    """The map in per cent of the mean, and what it comes to."""
    from ..review.layout import columns, wrap

    cells = [["-" if v is None else f"{100 * v:.0f}" for v in row] for row in found.relative]
    lines = ["per cent of the mean, row by row:"]
    lines += [f"  {line}" for line in columns(cells, right=range(len(cells[0])))]
    row, column = found.darkest
    lines += wrap(f"weakest {100 * found.min_over_mean:.0f} % of the mean (row {row + 1}, place {column + 1}),"
                  f" strongest {100 * found.max_over_mean:.0f} %: {found.stops:.2f} stop between them")  # fmt: skip
    lines += wrap(f"the lamp changed by {100 * found.drift:+.1f} % during the walk, which is taken out")
    return lines


def shown_unit(sensor: SensorSettings) -> str:
    """The unit of its dose."""
    from ..dose.response import response_of

    return response_of(sensor).unit


def _a_month(per_year: float) -> float:
    """The share lost in a month, of one lost in a year."""
    kept: float = max(1 - per_year, 0.0) ** (1 / MONTHS)
    return 1 - kept


def _place(bench: Bench, sensor: SensorSettings, seconds: float) -> float:
    from ..dose.integrator import reading_value
    from .sensor.gather import gather_shown

    rows = gather_shown(bench, [sensor], seconds)[sensor.name]
    return sum(reading_value(reading) - sensor.zero for _, reading in rows) / len(rows)


lamp_flicker.register(lamps)


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(lamps, name="lamp")
