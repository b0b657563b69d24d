"""`uvdose target diff`, `copy`, `retire`: what becomes of a target after it was set."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .noted import Coat, CoatingAge, Drying, FilmNoted, Humidity, Notes, Paper, Process
from .options import HomeDir, Json, home_of
from .questions import answer, text

if TYPE_CHECKING:
    from ..dose.response import Identity
    from ..exposure.target import CallPlan, Target
    from ..journal.store import Store

Text = str | None

LONG = 32  # a text longer than this is told below the table
NAMED = {"exposure_scale": "range", "proved_light": "proved in", "light_in": "lay in", "correct": "corrected"}


def diff_targets(
    first: Annotated[str, typer.Argument(metavar="NAME[:VERSION]", help="A target; alone: its newest version against"
                                         " the one before.")],
    second: Annotated[Text, typer.Argument(metavar="[NAME[:VERSION]]", help="What it is compared with.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """What differs between two targets, or two versions of one."""
    from ..review.layout import columns, wrap
    from .asking import journal
    from .show import print_json

    with journal(home_of(home)) as store:
        a = _find(store, first)
        if second is not None:
            b = _find(store, second)
        elif a.version > 1:
            a, b = _find(store, f"{a.name}:{a.version - 1}"), a
        else:
            raise Refusal(f"target {a.name} has one version: name another target to compare it with", 2)
    rows = differing(a, b)
    if as_json:
        print_json([{"what": what, "first": x, "second": y} for what, x, y in rows])
    elif not rows:
        print(f"{a.title} and {b.title} are alike")
    else:
        short = [[*row] for row in rows if max(map(len, row)) <= LONG]
        print("\n".join(columns([["", a.title, b.title], *short])))
        for what, *said in (row for row in rows if max(map(len, row)) > LONG):  # a sentence makes no column
            for title, text in zip((a.title, b.title), said, strict=True):
                print("\n".join(wrap(f"{what} of {title}: {text}")))


def copy_target(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The target to begin with.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="The name of the new one.")],
    dose: Annotated[float | None, typer.Option(help="Another dose, in the same unit.")] = None,
    sensor: Annotated[Text, typer.Option(help="Another sensor.")] = None,
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
    """Begin a new target with what another has: for a new paper, say. It is not proved yet, and says so."""
    from ..asked import TargetRequest
    from ..review.layout import with_unit
    from ..units import check_dose
    from .asking import journal
    from .keeping import keep_target
    from .show import print_json, say

    place = home_of(home)
    with journal(place) as store:
        old = store.versions(name)[-1]
        if store.newest_target(new) is not None:
            raise Refusal(f"target {new} is there already: choose another name", 2)
    check_dose(old.dose if dose is None else dose, old.unit)
    made = keep_target(place, TargetRequest(
        name=new, dose=old.dose if dose is None else dose, unit=old.unit, sensor=sensor, process=process, paper=paper,
        coat=coat, film=film, humidity=humidity, drying=drying, coating_age=coating_age, notes=notes, like=name,
        reason=f"copied from {old.title}, not proved yet", basis=f"copy of {old.title}",
    ))
    if as_json:
        print_json(made)
    else:
        say(f"target {made.title}: {with_unit(made.dose, made.unit)}, copied from {old.title}; not proved yet: make a"
            " test strip around it with `uvdose strip plan`")  # fmt: skip


def retire_target(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The target.")],
    reason: Annotated[Text, typer.Option(help="Why.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Take a target out of use: nothing starts with it any more; its prints and versions stay."""
    from ..asked import TargetRequest
    from .asking import journal
    from .keeping import keep_target
    from .show import print_json, say

    place = home_of(home)
    with journal(place) as store:
        old = store.versions(name)[-1]
    if old.retired:
        raise Refusal(f"target {name} is retired already ({old.reason})")
    why = answer(reason, "why", text, "--reason")
    made = keep_target(place, TargetRequest(
        name=name, dose=old.dose, unit=old.unit, reason=why, low=old.low, high=old.high, basis=old.basis, retired=True,
    ))
    if as_json:
        print_json(made)
    else:
        say(f"target {name}: retired; `uvdose target set {name} --dose …` takes it into use again")


def confirm_target(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The target.")],
    reason: Annotated[Text, typer.Option(help="How you know that its doses compare.")] = None,
    convert: Annotated[
        bool | None, typer.Option("--convert/--same-dose", help="Where the sensor's scale has changed: carry the dose"
                                  " over to the new scale, or keep the figure.")
    ] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Take a target on with the sensor as it is now: a new version, whose history says when and why."""
    from ..asked import TargetRequest
    from ..dose.response import differences
    from ..review.layout import with_unit, wrap
    from ..units import dose_unit
    from .asking import journal
    from .keeping import identities_now, keep_target, refuse_older_settings
    from .show import note, print_json, say

    place = home_of(home)
    with journal(place) as store:
        old, sensors = store.versions(name)[-1], identities_now(place, store)
    if old.retired:
        raise Refusal(f"target {name} is retired ({old.reason}): `uvdose target set {name} --dose …` takes it into use")
    if old.identity is None:
        raise Refusal(f"target {name} is bound to no sensor: there is nothing to confirm")
    now = next((s for s in sensors if s.name == old.identity.name), None)
    if now is None:
        raise Refusal(f"sensor {old.identity.name}, which target {name} was proved with, is not in the settings:"
                      f" `uvdose target copy {name} NEW --sensor …` begins one for another")  # fmt: skip
    changed = differences(old.identity, now)
    if not changed and now == old.identity:
        raise Refusal(f"target {name} is bound to sensor {now.name} as it is now: there is nothing to confirm")
    if old.identity.light != now.light or old.identity.unit != now.unit:
        raise Refusal(f"target {name} cannot be taken on ({'; '.join(changed)}): make a calibration print")
    if old.identity.under_glass != now.under_glass:
        note("under the frame's glass a sensor reads less: take it on only if it lay so when the target was proved, and"
             " the settings say it now")  # fmt: skip
    refuse_older_settings(place, now.name)
    to, per = _carry(name, old.identity, now, convert)
    unit = dose_unit(now.unit, now.scale is not None)
    why = answer(reason, "how do you know that its doses compare", text, "--reason") or "not said"
    said = "; ".join(changed) or "its zero moved a little"
    made = keep_target(place, TargetRequest(
        name=name, dose=old.dose * to / per, unit=unit, sensor=now.name, low=old.low and old.low * to / per,
        high=old.high and old.high * to / per, basis=old.basis, proved_light=old.proved_light,
        reason=f"confirmed for sensor {now.name} as it is now ({said}): {why}"[:500],
    ))
    if as_json:
        print_json(made)
    else:
        carried = f", carried over from {with_unit(old.dose, old.unit)}" if to != per else ", the same dose"
        line = f"target {made.title}: {with_unit(made.dose, made.unit)}{carried}, for sensor {now.name} as it is now"
        say("\n".join(wrap(line)))


def _carry(name: str, then: Identity, now: Identity, convert: bool | None) -> tuple[float, float]:
    """What the dose is multiplied by, and divided by.

    The same light reads more under a larger scale: the figure must follow, unless it is the sensor that has changed,
    and the new scale that makes it read as before.
    """
    if then.scale == now.scale:
        if convert:
            raise Refusal("--convert is for a scale that has changed: leave it out", 2)
        return 1.0, 1.0
    if then.scale is None or now.scale is None:  # from counts.s to mJ/cm2, or back
        if not convert:
            raise Refusal(f"target {name}: the sensor {'had' if then.scale is None else 'has'} no scale, so its doses"
                          " are in another unit: say --convert to carry the dose over")  # fmt: skip
        return now.scale or 1.0, then.scale or 1.0
    if convert is None:
        raise Refusal(
            f"target {name}: the scale was {then.scale:.6g}, is {now.scale:.6g}: say --convert if the sensor is the"
            " same and only its scale is known better (the dose is carried over), --same-dose if the sensor itself has"
            " changed and the new scale makes it read as before"
        )
    return (now.scale, then.scale) if convert else (1.0, 1.0)


def _find(store: Store, given: str) -> Target:
    name, colon, version = given.replace(" v", ":", 1).partition(":")  # screens write "blue v2"
    versions = store.versions(name)
    if not colon:
        return versions[-1]
    for target in versions:
        if version in (str(target.version), f"v{target.version}"):
            return target
    raise Refusal(f"target {name} has no version {version!r}: it has 1 to {versions[-1].version}", 2)


def differing(a: Target, b: Target) -> list[tuple[str, str, str]]:
    """(what, in a, in b) for all that differs, but name, version and time."""
    from ..exposure.target import CallPlan
    from ..review.layout import with_unit
    from ..units import stops_between

    rows: list[tuple[str, str, str]] = []
    if (a.dose, a.unit) != (b.dose, b.unit):
        stops = stops_between(b.dose, a.dose) if a.unit == b.unit else None
        more = "" if stops is None else f" ({stops:+.2f} stop)"
        rows.append(("dose", with_unit(a.dose, a.unit), with_unit(b.dose, b.unit) + more))
    for field in a.combination.__struct_fields__:
        x, y = getattr(a.combination, field), getattr(b.combination, field)
        if x != y:
            rows.append((field.replace("_", " "), x or "-", y or "-"))
    for field in sorted({*(a.identity.__struct_fields__ if a.identity else ()),
                         *(b.identity.__struct_fields__ if b.identity else ())}):
        x, y = (getattr(t.identity, field) if t.identity else None for t in (a, b))
        if x != y:
            rows.append((f"sensor's {field}" if field != "name" else "sensor", str(x), str(y)))
    for field in ("calls", "reason", "basis", "p", "exposure_scale", "proved_light", "light_in", "correct", "retired"):
        x, y = getattr(a, field), getattr(b, field)
        if x != y:
            told = [", ".join(call_facts(v)) if isinstance(v, CallPlan) else _plain(v) for v in (x, y)]
            rows.append((NAMED.get(field, field), told[0], told[1]))
    return rows


def call_facts(calls: CallPlan) -> list[str]:
    """When a target calls, each in words."""
    from ..units import percent

    facts = [f"look at {percent(look)}" for look in calls.looks]
    facts.append(f"lead {calls.lead_s:g} s" if calls.lead_s else "no lead call")
    return facts + [f"overshoot {s:+.2f} stops" for s in calls.overshoots]


def _plain(value: object) -> str:
    import msgspec

    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.3g}"
    if isinstance(value, msgspec.Struct):
        told = {k.replace("_", " "): _plain(v) if isinstance(v, float) else v
                for k, v in msgspec.to_builtins(value).items() if v}  # fmt: skip
        return ", ".join(f"{k} {v}" for k, v in told.items())
    return str(value) if value else "-"


def register(group: typer.Typer) -> None:
    """Add the commands to `uvdose target`."""
    group.command("diff")(diff_targets)
    group.command("copy")(copy_target)
    group.command("retire")(retire_target)
    group.command("confirm")(confirm_target)
