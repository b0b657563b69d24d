"""`uvdose sensor level`: what a sensor costs that leans against its frame, and how far it leans, from turning it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ...model import Refusal
from ..options import HomeDir, Json, home_of
from ..questions import at_terminal, wait_for_enter

if TYPE_CHECKING:
    from ...config import SensorSettings
    from ...light.bands import Band
    from ...light.level import Housing
    from ...light.turned import Lean, Stretch
    from ...model import ProvedLight
    from .gather import Bench

LEAST_S, MOST_S = 3.0, 120.0
TOLD_DEG = (2.0, 5.0, 10.0)


def level(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="The sensor; needed where there are several.")]
    = None,
    turn: Annotated[
        bool, typer.Option("--turn/--no-turn", help="Whether somebody turns the sensor; without, only what a lean costs"
                                                    " is told.")
    ] = True,
    seconds: Annotated[float, typer.Option(metavar="N", help="How long to read in each position.")] = 10.0,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """What a sensor that leans costs under the sun of now, and, by turning it, how far it leans. Needs the daemon."""
    from ...notes import Levelled
    from ...placed import sensor_band_of
    from ...review.layout import wrap
    from ..keeping import keep_note
    from ..show import print_json, say
    from .gather import need_bench

    if not LEAST_S <= seconds <= MOST_S:
        raise Refusal(f"--seconds {seconds:g}: give {LEAST_S:g} to {MOST_S:g}", 2)
    bench = need_bench(home_of(home))
    sensor = bench.sensor(name)
    bench.now(sensor.name)
    light = _sun(bench, sensor)
    band = sensor_band_of(sensor)
    housing = _housing(sensor)
    if not as_json:
        say("\n".join(_costs(light, band, housing)))
    if not (turn and at_terminal() and not as_json):
        if as_json:
            print_json({"sensor": sensor.name, "air_mass": light.air_mass, "costs": _table(light, band, housing)})
        elif turn:
            say("next: call it in a terminal, and it asks you to turn the sensor and finds how far it leans")
        return
    bench.refuse_lit(sensor.name, "turning it")
    found = _turn(bench, sensor, seconds, light, band, housing)
    keep_note(bench.place, "level", sensor.name, Levelled(
        found.degrees, found.low, found.high, found.over, found.sky, found.steady, light.air_mass, seconds,
    ))
    say("\n".join(line for text in _told(sensor.name, found) for line in wrap(text)))


def _sun(bench: Bench, sensor: SensorSettings) -> ProvedLight:
    from ...exposure.target import SUN
    from ...same_light import SameLight
    from ...stamps import from_iso
    from ...units import US_PER_S

    if sensor.light != SUN:
        raise Refusal(f"sensor {sensor.name} stands under {sensor.light}: what a lean costs is told of the sun alone")
    utc = bench.daemon.status().utc
    found = SameLight(bench.settings).proof(from_iso(utc) / US_PER_S, utc)
    if isinstance(found, str):
        raise Refusal(f"what a lean costs is not known: {found}")
    return found


def _housing(sensor: SensorSettings) -> Housing:
    """As the part's data sheet says, unless something lies over it: a diffuser sees as a frame does."""
    from ...catalogue import part_named
    from ...light.level import FLAT, Housing

    view = None if sensor.part is None else part_named(sensor.part).view_deg
    if view is None or "diffus" in (sensor.mount or "").lower():
        return FLAT
    return Housing.from_half_angle(view / 2)


def _table(light: ProvedLight, band: Band | None, housing: Housing) -> list[dict[str, float]]:
    """What leans toward the sun and away from it cost."""
    from ...light.level import tipped
    from ...placed import plane_of

    found = []
    for degrees in TOLD_DEG:
        toward, away = (
            tipped(light.air_mass, plane_of(light), degrees, way, housing=housing, band=band,
                   sun_azimuth_deg=light.sun_azimuth_deg)
            for way in (0.0, 180.0)
        )  # fmt: skip
        found.append({"degrees": degrees, "toward": toward.over, "away": away.over})
    return found


def _costs(light: ProvedLight, band: Band | None, housing: Housing) -> list[str]:
    aim = "upwards" if light.toward_sun else "toward the sun"
    lines = [f"the sun shines through air mass {light.air_mass:.1f}; under a clear sky a sensor that leans against its"
             " frame reads"]  # fmt: skip
    for row in _table(light, band, housing):
        lines.append(
            f"  {row['degrees']:2.0f} degrees off {aim}: {_much(row['toward'])}; the other way: {_much(row['away'])}"
        )
    return lines


def _much(over: float) -> str:
    return f"{100 * abs(over):.0f} % too {'much' if over >= 0 else 'little'}"


def _turn(
    bench: Bench, sensor: SensorSettings, seconds: float, light: ProvedLight, band: Band | None, housing: Housing
) -> Lean:
    from ...light.turned import lean
    from ...placed import plane_of

    read: list[Stretch] = []
    for prompt in ("let it lie as it does for a print, and press Enter", "turn it by half a turn on the spot, and press"
                   " Enter", "turn it back as it lay, and press Enter"):
        wait_for_enter(prompt)
        read.append(_stretch(bench, sensor, seconds))
    try:
        return lean(read[0], read[1], read[2], light.air_mass, plane_of(light), housing=housing, band=band,
                    sun_azimuth_deg=light.sun_azimuth_deg)  # fmt: skip
    except ValueError as err:
        raise Refusal(str(err)) from None


def _stretch(bench: Bench, sensor: SensorSettings, seconds: float) -> Stretch:
    """The mean light of a position, above zero."""
    from ...dose.stretch import dark
    from ...light.turned import Stretch
    from .gather import gather_shown

    rows = gather_shown(bench, [sensor], seconds)[sensor.name]
    found = dark(rows, 0.0)  # of any light: its mean, and how sure that is
    if found is None:
        raise Refusal(f"only {len(rows)} readings of {sensor.name} came in {seconds:g} s: read longer with --seconds")
    return Stretch(found.mean - sensor.zero, found.u)


def _told(name: str, found: Lean) -> list[str]:
    if not found.steady:
        return [f"{name}: the light itself changed by {100 * found.sky:+.0f} % meanwhile: too much for a turn to say"
                " anything; do it again under a steady sky"]  # fmt: skip
    ends = f"({found.low:+.1f} to {found.high:+.1f})"
    if found.low <= 0 <= found.high:
        line = f"{name}: no lean along the line to the sun is to be seen, {found.degrees:+.1f} degrees {ends}"
    else:
        way = "toward the sun" if found.degrees > 0 else "away from the sun"
        line = f"{name} leans {abs(found.degrees):.1f} degrees {way} {ends}: it reads {_much(found.over)} now"
    return [line, f"the light itself changed by {100 * found.sky:+.1f} % meanwhile, which is steady enough; a lean"
                  " across the line to the sun shows when the sun has gone round"]  # fmt: skip


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("level")(level)
