"""The light in which a target was proved, and what the light of now makes of it: `uvdose target correct`, and what the
other commands on targets say of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from ..model import LIGHTS, ProvedLight, Refusal
from .options import HomeDir, Json, finite, home_of

if TYPE_CHECKING:
    from ..config import Home
    from ..exposure.target import Target
    from ..journal.store import Kept
    from ..same_light import SameLight


ProvedAt = Annotated[
    str | None, typer.Option("--proved-at", metavar="TIME", help="When the print that proved it lay in the sun: HH:MM"
                                                                 " of today, or such as 2026-06-21T12:30.")
]
AirMass = Annotated[
    float | None, typer.Option("--air-mass", help="Or through how much air the sun shone then, 1 for a sun overhead.")
]


def correct_target(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The target.")],
    switch: Annotated[Literal["on", "off"], typer.Argument(metavar="on|off")],
    proved_at: ProvedAt = None,
    air_mass: AirMass = None,
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Have its prints aim for the same effect when the sun stands elsewhere than when it was proved, or not."""
    from ..asked import TargetRequest
    from ..same_light import SAY_IT
    from .asking import journal
    from .keeping import keep_target
    from .show import note, print_json

    place, on = home_of(home), switch == "on"
    with journal(place) as store:
        old = store.versions(name)[-1]
    if old.retired:
        raise Refusal(f"target {name} is retired ({old.reason}): `uvdose target set {name} --dose …` takes it into use")
    light = given_light(place, proved_at, air_mass)
    if old.correct == on and light is None:
        raise Refusal(f"target {name}: its prints are {'' if on else 'not '}corrected already")
    made = keep_target(place, TargetRequest(
        name=name, dose=old.dose, unit=old.unit, low=old.low, high=old.high, basis=old.basis, correct=on,
        proved_light=light,
        reason=reason or ("corrected for the light from now on" if on else "not corrected for the light any more"),
    ))
    if as_json:
        print_json(made)
    else:
        aims = "for the same effect in the light of their time" if on else "at its dose as it stands"
        print(f"target {made.title}: its prints aim {aims}")
    if on and made.proved_light is None:
        note(f"nobody said in which light {name} was proved, so nothing is corrected yet: {SAY_IT.format(name)}")


def given_light(place: Home, proved_at: str | None, air_mass: float | None) -> ProvedLight | None:
    """The light of the proof as a person says it; None where nothing is said. Raises `Refusal`."""
    from ..clock import host_wall_us
    from ..exposure.setting import MOST_AIR_MASS
    from ..stamps import at_local, iso_utc
    from ..units import US_PER_S

    if proved_at is None and air_mass is None:
        return None
    if proved_at is not None and air_mass is not None:
        raise Refusal("--proved-at and --air-mass cannot both be meant; leave one out", 2)
    same = _same_light(place)
    if air_mass is not None:
        finite(air_mass, "air mass", 0.99, MOST_AIR_MASS, "1.2")
        if same is None:
            return ProvedLight(air_mass)
        return same.proof_at(air_mass)
    now_us = host_wall_us()
    try:
        wall_us = at_local(proved_at or "", now_us)
    except ValueError:
        raise Refusal(f"time {proved_at!r}: give HH:MM of today, or such as 2026-06-21T12:30", 2) from None
    if wall_us > now_us:
        raise Refusal(f"{proved_at} is still to come; give a time that has been", 2)
    if same is None:
        raise Refusal("--proved-at needs the settings, which say where the bench stands; or give --air-mass")
    found = same.proof(wall_us / US_PER_S, iso_utc(wall_us))
    if isinstance(found, str):
        raise Refusal(f"--proved-at {proved_at}: {found}")
    return found


def proved_in(place: Home, kept: Kept) -> ProvedLight | None:
    """The light in the middle of a calibration print; None where it is not known."""
    from ..exposure.target import SUN
    from ..stamps import from_iso, iso_utc
    from ..units import US_PER_S

    shown, same = kept.document, _same_light(place)
    if same is None or kept.identity.light != SUN or shown.started_utc is None or shown.finished_utc is None:
        return None
    middle_us = (from_iso(shown.started_utc) + from_iso(shown.finished_utc)) // 2
    found = same.proof(middle_us / US_PER_S, iso_utc(middle_us))
    return None if isinstance(found, str) else found


def facts(target: Target) -> list[str]:
    """What a target's line says of it."""
    from ..review.layout import moment_of

    light = target.proved_light
    found = []
    if light is not None:
        lay = ", held to the sun" if light.toward_sun else f", tilted {light.tilt_deg:g}°" if light.tilt_deg else ""
        when = f" ({moment_of(light.utc)})" if light.utc else ""
        found.append(f"in the sun at air mass {light.air_mass:.2f}{when}{lay}")
    if target.light_in:
        found.append(f"in {LIGHTS[target.light_in]}")
    return [*found, "corrected for the light"] if target.correct else found


def now_lines(place: Home, target: Target) -> list[str]:
    """How its sensor reads now against the paper, where that is worth a word."""
    from ..clock import host_wall_us
    from ..units import US_PER_S

    same = _same_light(place)
    if same is None or target.identity is None or target.retired:
        return []
    found = same.drift(target, target.identity.name, host_wall_us() / US_PER_S)
    if isinstance(found, str):
        return [f"not corrected: {found}"] if target.correct else []
    return [f"now {found.words(target.name)}"] if found.worth_telling else []


def _same_light(place: Home) -> SameLight | None:
    """None where the settings cannot be read: targets are told all the same."""
    from ..config import load_settings
    from ..same_light import SameLight

    try:
        return SameLight(load_settings(place))
    except Refusal:
        return None


def register(group: typer.Typer) -> None:
    """Add the command to `uvdose target`."""
    group.command("correct")(correct_target)
