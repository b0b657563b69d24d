"""The person's acts: expose, hold, resume, finish, quiet. All of them need the daemon."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import (
    Ago,
    At,
    HomeDir,
    Json,
    Lead,
    LightIn,
    Looks,
    NoLook,
    NoOvershoot,
    Overshoots,
    home_of,
    moment,
    several,
    whole_id,
)

if TYPE_CHECKING:
    from ..asked import When
    from ..config import Home
    from ..exposure.target import Target
    from ..messages import ExposureDoc, Part, Taken

Text = str | None
Id = Annotated[str, typer.Argument(metavar="ID", help="The exposure's number.")]
MaybeId = Annotated[
    Text, typer.Argument(metavar="[ID]", help="The exposure's number; not needed where one print alone can be meant.")
]

DONE_WORD = {"hold": "held", "resume": "resumed", "finish": "finished"}


def expose(
    target: Annotated[Text, typer.Argument(metavar="[TARGET]", help="The target's name; with --edition it is known.")]
    = None,
    edition: Annotated[Text, typer.Option(metavar="NAME", help="The next sheet of this edition.")] = None,
    sheet: Annotated[int | None, typer.Option(help="With --edition: this sheet.")] = None,
    layer: Annotated[int | None, typer.Option(help="With --edition: this layer.")] = None,
    sensor: Annotated[Text, typer.Option(help="The sensor beside the frame; needed where there are several.")] = None,
    frame: Annotated[Text, typer.Option(help="Where the sheet lies; else frame 1.")] = None,
    label: Annotated[str, typer.Option(help="A name of your own for the print.")] = "",
    count_in: Annotated[int, typer.Option(metavar="SECONDS", help="Count down, up to 60 s, then begin.")] = 0,
    look: Looks = None,
    no_look: NoLook = False,
    lead: Lead = None,
    overshoot: Overshoots = None,
    no_overshoot: NoOvershoot = False,
    override: Annotated[
        bool, typer.Option("--override", help="Use the target although it was proved with another sensor setting,"
                                            " or in another light.")
    ] = False,
    ago: Ago = None,
    at: At = None,
    by_light: Annotated[
        bool, typer.Option("--by-light", help="Begin when the light comes up, hold when it falls: for a sensor that"
                                              " rides on the frame.")
    ] = False,
    light_on: Annotated[
        float | None, typer.Option(metavar="IRRADIANCE", help="With --by-light: begin at this many mW/cm², or in the"
                                                              " sensor's own unit where it has no scale.")
    ] = None,
    correct: Annotated[
        bool | None, typer.Option("--correct/--no-correct", help="Aim for the same effect in the light of now, or not;"
                                                                 " else as `target correct` says.")
    ] = None,
    light_in: LightIn = "",
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Begin an exposure; shows the number to pencil on the sheet."""
    from ..asked import StartRequest
    from ..clock import real_s
    from ..exposure.target import CallPlan, plan_with
    from ..messages import Taken
    from ..review.layout import wrap
    from .asking import journal, need_daemon
    from .keeping import tell_older_settings
    from .show import print_json, say

    place = home_of(home)
    looks, overshoots = several(look, no_look, "look"), several(overshoot, no_overshoot, "overshoot")
    plan_with(CallPlan(), looks, lead, overshoots)
    part, version = None, None
    if edition is not None:
        part, target, version = _edition_part(place, edition, sheet, layer, target)
    if target is None:
        raise Refusal("which target? name one, such as `uvdose expose blue`; `uvdose target list` shows them", 2)
    if edition is None and (sheet is not None or layer is not None):
        raise Refusal("--sheet and --layer go with --edition", 2)
    request = StartRequest(
        target=target, version=version, part=part, sensor=sensor, frame=frame, label=label, count_in_s=count_in,
        override=override, looks=looks, lead_s=lead, overshoots=overshoots, when=moment(ago, at), by_light=by_light,
        light_on=light_on, correct=correct, light_in=light_in,
    )
    daemon = need_daemon(place)
    tell_older_settings(place, daemon)
    begun_s = real_s()
    taken = daemon.post("exposures", request, Taken)
    shown = exposure_of(taken)
    if as_json:
        print_json(shown)
    else:
        with journal(place) as store:
            used = next((t for t in store.versions(shown.target) if t.version == shown.target_version), None)
        _say_started(place, shown, used)
        for line in taken.told:
            print(f"  sensor   {line}")
        for line in (taken.light, taken.seems.words if taken.seems is not None else ""):
            if line:
                say("\n".join(wrap(f"  light    {line}", "", " " * 11)))
        if by_light:
            _say_waiting()
        else:
            count_down(begun_s + count_in, count_in)
    say_unrecorded(taken)


def _edition_part(
    place: Home, edition: str, sheet: int | None, layer: int | None, target: str | None
) -> tuple[Part, str, int]:
    from .editions import part_of

    part, planned, version = part_of(place, edition, sheet, layer)
    if target not in (None, planned):
        raise Refusal(f"layer {part.layer} of edition {edition} has target {planned}: leave {target} out", 2)
    return part, planned, version


def _say_started(place: Home, shown: ExposureDoc, used: Target | None) -> None:
    from ..review.layout import with_unit
    from .editions import pencilled
    from .show import big

    print()
    for line in big(shown.id):
        print(f"    {line}")
    print()
    asked = with_unit(shown.target_dose, shown.unit)
    if shown.correction_stops:
        own = with_unit(shown.target_dose_raw, shown.unit)
        asked = f"{own}; it aims at {asked}, {shown.correction_stops:+.2f} stop"
    label = f", {shown.label}" if shown.label else ""
    print(f"exposure {shown.id}{label}: pencil {shown.id} on the back of the sheet")
    if shown.part is not None:
        layer = f", layer {shown.part.layer}" if shown.part.layer > 1 else ""
        numbers = pencilled(place, shown.part) if shown.part.layer > 1 else []
        on_it = f" ({', '.join(map(str, numbers))} on its back)" if numbers else ""
        print(f"  edition  {shown.part.name}, sheet {shown.part.sheet}{on_it}{layer}")
    print(f"  frame    {shown.frame}, sensor {shown.sensor}")
    print(f"  target   {shown.title}, {asked}")
    print(f"  process  {(used.combination.process if used else None) or 'not noted'}")
    print(f"  paper    {(used.combination.paper if used else None) or 'not noted'}", flush=True)


def count_down(beat_s: float, count_in: int) -> None:
    """In real time, as the daemon's own count-in runs."""
    from ..clock import pause, real_s

    for left in range(count_in, 0, -1):
        pause(max(0.0, beat_s - left - real_s()))
        print(f"{left} ", end="", flush=True)
    pause(max(0.0, beat_s - real_s()) if count_in else 0.0)
    print("uncover now" if count_in else "counting: it is in the light now", flush=True)


def _say_waiting() -> None:
    print("waiting: it begins when the light comes up, and holds when it falls", flush=True)


def _act(act: str, number: Text, when: When, as_json: bool, home: str | None) -> None:
    from ..messages import Taken
    from ..review.layout import with_unit
    from ..units import percent
    from .asking import need_daemon
    from .show import print_json
    from .which import the_only

    exposure = None if number is None else whole_id(number)
    daemon = need_daemon(home_of(home))
    if exposure is None:
        exposure = the_only(act, daemon.status().exposures).id
    taken = daemon.post(f"exposures/{exposure}/{act}", when, Taken)
    shown = exposure_of(taken)
    if as_json:
        print_json(shown)
    elif shown.state == "void":
        print(f"exposure {exposure}: taken back before it began; nothing was counted")
    else:
        print(
            f"exposure {exposure}: {DONE_WORD[act]} at {with_unit(shown.dose, shown.unit)},"
            f" {percent(shown.fraction)} of {shown.title}", flush=True,
        )
    say_unrecorded(taken)


def hold(number: MaybeId = None, ago: Ago = None, at: At = None, as_json: Json = False, home: HomeDir = None) -> None:
    """The print is out of the light: stop counting."""
    _act("hold", number, moment(ago, at), as_json, home)


def resume(number: MaybeId = None, ago: Ago = None, at: At = None, as_json: Json = False, home: HomeDir = None) -> None:
    """The print is in the light again: go on counting."""
    _act("resume", number, moment(ago, at), as_json, home)


def finish(number: MaybeId = None, ago: Ago = None, at: At = None, as_json: Json = False, home: HomeDir = None) -> None:
    """The print is done: its dose is final."""
    _act("finish", number, moment(ago, at), as_json, home)


def quiet(
    number: Annotated[Text, typer.Argument(metavar="[ID]", help="Of this exposure only.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Silence the present call."""
    from ..messages import Taken
    from .asking import need_daemon
    from .show import print_json

    exposure = None if number is None else whole_id(number)
    daemon = need_daemon(home_of(home))
    taken = daemon.post("quiet" if exposure is None else f"exposures/{exposure}/quiet", {}, Taken)
    if as_json:
        print_json(taken)
    else:
        print("the present calls are silenced" if exposure is None else f"exposure {exposure}: its call is silenced")
    say_unrecorded(taken)


def exposure_of(taken: Taken) -> ExposureDoc:
    """The exposure that an act answers with. Raises `Refusal`."""
    if taken.exposure is None:
        raise Refusal("the daemon's answer names no exposure: it may be of another version; restart it")
    return taken.exposure


def say_unrecorded(taken: Taken) -> None:
    """Say so when an act is not on disk yet."""
    from .show import note

    if not taken.recorded:
        note(taken.note)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    for command in (expose, hold, resume, finish, quiet):
        app.command()(command)
