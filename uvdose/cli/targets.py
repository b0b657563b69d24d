"""`uvdose target`: set, list, show. Through the daemon when it answers, else under the home's lock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from . import target_drift, target_life, target_light
from .noted import Coat, CoatingAge, Drying, FilmNoted, Humidity, Notes, Paper, Process
from .options import HomeDir, Json, Lead, LightIn, Looks, NoLook, NoOvershoot, Overshoots, home_of, several

if TYPE_CHECKING:
    from ..config import Home
    from ..dose.response import Identity
    from ..exposure.target import Target
    from ..journal.store import Store

Text = str | None

targets = typer.Typer(help="Targets: the dose that prints one combination right.", no_args_is_help=False)


@targets.command("set")
def set_target(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A name of your own; if it is there: a new version.")],
    dose: Annotated[float, typer.Option("--dose", metavar="MJ_CM2", help="The dose, in mJ/cm² or what --unit says.")],
    unit: Annotated[
        Text, typer.Option(help="mJ/cm2 (or mJ/cm²), or for a sensor without a scale such as counts.s; else as before.")
    ] = None,
    sensor: Annotated[Text, typer.Option(help="The sensor it was proved with; needed where there are several.")] = None,
    process: Process = None,
    paper: Paper = None,
    coat: Coat = None,
    film: FilmNoted = None,
    humidity: Humidity = None,
    drying: Drying = None,
    coating_age: CoatingAge = None,
    notes: Notes = None,
    p: Annotated[float | None, typer.Option("--p", help="Exponent of reciprocity, E t^p; 1 unless you know better.")]
    = None,
    proved_at: target_light.ProvedAt = None,
    air_mass: target_light.AirMass = None,
    light_in: LightIn = "",
    look: Looks = None,
    no_look: NoLook = False,
    lead: Lead = None,
    overshoot: Overshoots = None,
    no_overshoot: NoOvershoot = False,
    reason: Annotated[str, typer.Option(help="Why it is set so.")] = "",
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Set a target, as a new version.

    A version is never changed: a name that is there already gets one more.
    """
    from ..asked import TargetRequest
    from ..exposure.setting import check_light_in, check_p
    from ..exposure.target import CallPlan, plan_with
    from ..review.layout import wrap
    from ..units import check_dose, plain_unit
    from .keeping import keep_target
    from .show import print_json

    place = home_of(home)
    looks, overshoots = several(look, no_look, "look"), several(overshoot, no_overshoot, "overshoot")
    unit = plain_unit(unit) if unit else _last_unit(place, name)
    check_dose(dose, unit)  # here, since JSON cannot carry NaN to the daemon
    plan_with(CallPlan(), looks, lead, overshoots)
    if p is not None:
        check_p(p)
    request = TargetRequest(
        name=name, dose=dose, unit=unit, sensor=sensor, process=process, paper=paper,
        coat=coat, film=film, humidity=humidity, drying=drying, coating_age=coating_age, notes=notes, p=p,
        looks=looks, lead_s=lead, overshoots=overshoots, reason=reason,
        proved_light=target_light.given_light(place, proved_at, air_mass), light_in=check_light_in(light_in),
    )
    target = keep_target(place, request)
    if as_json:
        print_json(target)
        return
    print("\n".join(wrap(f"target {target.title}: {_facts(target)}")))
    _note_unit(place, target)


def _note_unit(place: Home, target: Target) -> None:
    """Said at once where no sensor measures in this unit, rather than only at the frame."""
    from ..config import load_settings
    from ..dose.response import response_of
    from ..settings_bench import names_no_sensor
    from .show import note

    if names_no_sensor(place.settings_file):
        return
    units = sorted({response_of(sensor).unit for sensor in load_settings(place).sensor})
    if target.unit not in units:
        note(f"no sensor here measures in {target.unit}: to use this target, set it with --unit {units[0]}")


def _last_unit(place: Home, name: str) -> str:
    from ..units import PHYSICAL_DOSE
    from .asking import journal

    if not place.journal_file.exists():
        return PHYSICAL_DOSE
    with journal(place) as store:
        last = store.newest_target(name)
    return PHYSICAL_DOSE if last is None else last.unit


@targets.command("list")
def list_targets(as_json: Json = False, home: HomeDir = None) -> None:
    """The newest version of every target."""
    from ..exposure.target import void_for
    from ..review.layout import columns, figure, unit_text
    from .asking import journal
    from .show import print_json, say

    place = home_of(home)
    with journal(place) as store:
        found, sensors = store.targets(), _sensors(place, store)
    if as_json:
        print_json(found)
        return
    if not found:
        say("no targets yet: `uvdose target set NAME --dose MJ_CM2` makes one")
        return
    rows = [["target", "version", "dose", "unit", "sensor", "process", "paper"]]
    rows += [
        [t.name, f"v{t.version}{_standing(t, void_for(t, sensors))}", figure(t.dose), unit_text(t.unit),
         t.identity.name if t.identity else "any", t.combination.process or "-", t.combination.paper or "-"]
        for t in found
    ]
    print("\n".join(columns(rows, right=(2,))))


@targets.command("show")
def show_target(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The target's name.")],
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Every version of one target, oldest first, and whether it is void for the sensor as it is now."""
    from msgspec import to_builtins

    from ..exposure.target import told_of, void_for
    from ..review.layout import moment_of, wrap
    from .asking import journal
    from .show import print_json, say

    place = home_of(home)
    with journal(place) as store:
        found, sensors = store.versions(name), _sensors(place, store)
    newest = found[-1]
    void, told = void_for(newest, sensors), []
    if newest.identity is not None and not void:
        told = [line for s in sensors if s.name == newest.identity.name for line in told_of(newest, s)]
    if as_json:
        print_json([to_builtins(target) for target in found[:-1]] + [to_builtins(newest) | {"void": void}])
        return
    print(name)
    for target in found:
        print("\n".join(wrap(f"v{target.version}  {moment_of(target.made_utc)}  {_facts(target)}", "  ", "      ")))
        print("\n".join(wrap(target.reason, "      ", "      ")))
    for line in target_light.now_lines(place, newest):
        say("\n".join(wrap(line, "  ", "      ")))
    print("\n".join(_reciprocity(found[-1])), end="\n" if found[-1].p != 1 else "")
    if void:
        say("\n".join(wrap(f"void for the sensor as it is now: {'; '.join(void)}", "  ", "      ")))
        say(f"      make a calibration print with it; or, if you know that its doses compare:\n"
            f"      `uvdose target confirm {name}`")  # fmt: skip
    for line in told:
        say("\n".join(wrap(f"sensor {line}", "  ", "      ")))


def _sensors(place: Home, store: Store) -> list[Identity]:
    """The sensors as they are now; none where the settings cannot be read: targets are told all the same."""
    from .keeping import identities_now

    try:
        return identities_now(place, store)
    except Refusal:
        return []


def _standing(target: Target, void: list[str]) -> str:
    return ", retired" if target.retired else ", void" if void else ""


def _reciprocity(target: Target) -> list[str]:
    """What an exponent other than 1 makes of prints that take longer or shorter than the calibration print."""
    from ..exposure.target import reciprocity_stops
    from ..units import minutes

    if target.p == 1:
        return []
    if target.proved_s is None:
        return [f"  p {target.p:g}: its calibration print's time is not known, so its effect cannot be told"]
    lines = [f"  p {target.p:g}, against the calibration print's {minutes(target.proved_s)}:"]
    for times in (0.25, 0.5, 2.0, 4.0):
        stops = reciprocity_stops(target, times * target.proved_s)
        lines.append(f"    a print of {minutes(times * target.proved_s):>8} would need {stops:+.2f} stop")
    return lines


def _facts(target: Target) -> str:
    from ..review.layout import figure, with_unit

    c = target.combination
    parts = [with_unit(target.dose, target.unit)]
    if target.retired:
        parts[0] = f"retired, {parts[0]}"
    if target.low is not None and target.high is not None:
        parts[0] += f" ({figure(target.low)}-{figure(target.high)})"
    proved = "not proved yet, for" if target.basis.startswith("copy of") else "proved with"
    parts.append(f"{proved} sensor {target.identity.name}" if target.identity else "bound to no sensor")
    parts += [
        f"{what.replace('_', ' ')} {text}" for what in c.__struct_fields__ if (text := getattr(c, what)) is not None
    ]
    if target.exposure_scale is not None:
        parts.append(f"range {target.exposure_scale:.2f}")
    parts += target_light.facts(target)
    return ", ".join(parts + target_life.call_facts(target.calls))


for part in (target_life, target_light, target_drift):
    part.register(targets)


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(targets, name="target")
