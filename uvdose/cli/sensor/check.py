"""`uvdose sensor check`: the morning's look at a sensor, step by step, each with a plain line, kept as a note."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from ...model import Refusal
from ..options import HomeDir, Json, home_of
from ..questions import at_terminal, wait_for_enter, yes

if TYPE_CHECKING:
    from ...config import SensorSettings
    from ...dose.stretch import Sight
    from ...notes import CheckStep
    from .gather import Bench

READ_S, DARK_S = 3.0, 5.0
FALLS = 0.2  # a hand takes away at least this share of the light
LIT_SHARE = 0.02  # of full scale: weaker light tells nothing of a hand
STRONG_SHARE, NEAR_FULL = 0.1, 0.9
DAY_US = 86_400_000_000
PATIENCE_S = 60.0
WORDS = {True: "ok", False: "NOT OK", None: "not done"}
DAYS_S = 86_400


def check(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="The sensor; needed where there are several.")]
    = None,
    ask: Annotated[
        bool, typer.Option("--ask/--no-ask", help="Whether somebody stands at the sensor; without, only what needs no"
                                                  " hand is done.")
    ] = True,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Alive, moves with the hand, zero, headroom, buzzer; ends with 4 when one is not ok. Needs the daemon."""
    from ...notes import Check
    from ..keeping import keep_note
    from ..show import print_json, say
    from .gather import need_bench

    bench = need_bench(home_of(home))
    sensor = bench.sensor(name)
    bench.now(sensor.name)
    steps: list[CheckStep] = []
    for step in _steps(bench, sensor, ask and at_terminal() and not as_json):
        steps.append(step)
        if not as_json:
            say(f"{step.step:<9} {WORDS[step.ok]:<8}  {step.line}")
    keep_note(bench.place, "check", sensor.name, Check(tuple(steps)))
    failed = [step.step for step in steps if step.ok is False]
    if as_json:
        print_json({"sensor": sensor.name, "ok": not failed, "steps": steps})
    if failed:
        raise Refusal(f"sensor {sensor.name}: not ok: {', '.join(failed)}")


def _steps(bench: Bench, sensor: SensorSettings, ask: bool) -> Iterator[CheckStep]:
    """Each step as it is done; the next begins when the line of the one before is shown."""
    from ...notes import CheckStep

    seen, alive = _alive(bench, sensor)
    yield alive
    yield _headroom(bench, sensor, seen, ask)
    covered = _why_uncovered(bench, sensor, seen, ask)
    for step, do in (("hand", _hand), ("zero", _zero)):
        if covered is None and seen is not None:
            try:
                yield do(bench, sensor, seen)
            except Refusal as err:
                yield CheckStep(step, False, err.line)
        else:
            yield CheckStep(step, None, covered or "no reading comes")
    yield _buzzer(bench, sensor, ask)


def _why_uncovered(bench: Bench, sensor: SensorSettings, seen: Sight | None, ask: bool) -> str | None:
    """Why the sensor is not covered now; None where it can be."""
    if not ask:
        return "it needs a hand at the sensor"
    if seen is None:
        return "no reading comes"
    try:
        bench.refuse_lit(sensor.name, "a hand")
    except Refusal as err:
        return err.line
    return None


def _alive(bench: Bench, sensor: SensorSettings) -> tuple[Sight | None, CheckStep]:
    from ...dose.stretch import sight
    from ...notes import CheckStep
    from .gather import gather
    from .watch import verdict

    try:
        rows = gather(bench, [sensor.name], READ_S)[sensor.name]
    except Refusal as err:
        return None, CheckStep("alive", False, err.line)
    seen, now = sight(rows, sensor.full_scale), bench.now(sensor.name)
    if now.state in ("live", "saturated") and not now.alarms:
        return seen, CheckStep("alive", True, verdict(now, seen, sensor))
    return seen, CheckStep("alive", False, "; ".join(now.alarms) or verdict(now, seen, sensor))


def _headroom(bench: Bench, sensor: SensorSettings, seen: Sight | None, ask: bool) -> CheckStep:
    """Whether full sun stays below full scale: by the light of now if that is it, else by the last day's strongest."""
    from ...notes import CheckStep
    from ...units import percent
    from .watch import of_full_scale

    if sensor.full_scale is None:
        return CheckStep("headroom", None, "its full scale is not known: full_scale in uvdose.toml says it")
    strongest, whose = None, "now"
    if ask and seen is not None and yes("does it lie in full sun now"):
        strongest = seen.highest
    else:
        strongest, whose = _strongest(bench, sensor), "the strongest of the last day"
    share = 0.0 if strongest is None else of_full_scale(strongest, sensor) or 0.0
    if share < STRONG_SHARE:
        dim = f"no strong light was there to tell by ({percent(share)} of full scale, {whose})"
        return CheckStep("headroom", None, dim)
    if share > NEAR_FULL:
        mend = "lay diffuser over it, tip it or lower its gain; then it is another sensor setting"
        return CheckStep("headroom", False, f"{percent(share)} of full scale, {whose}: {mend}")
    room = math.log2(1 / share)
    return CheckStep("headroom", True, f"{percent(share)} of full scale, {whose}: {room:.1f} stops of room")


def _strongest(bench: Bench, sensor: SensorSettings) -> float | None:
    from ...dose.integrator import reading_value
    from ..asking import journal

    with journal(bench.place) as store:
        last_us, _ = store.last_times()
        return max((reading_value(r) for _, r in store.readings(sensor.name, last_us - DAY_US)), default=None)


def _hand(bench: Bench, sensor: SensorSettings, before: Sight) -> CheckStep:
    from ...dose.stretch import sight
    from ...notes import CheckStep
    from ...units import percent
    from .gather import gather
    from .zero import span_of

    level = before.mean - sensor.zero
    if level < LIT_SHARE * (span_of(bench, sensor) or 0.0) or level <= 0:
        return CheckStep("hand", None, "there is too little light to tell")
    wait_for_enter("hold your hand close over the sensor, and press Enter")
    rows = gather(bench, [sensor.name], READ_S)[sensor.name]
    wait_for_enter("take it away, and press Enter")
    under = sight(rows, sensor.full_scale)
    falls = 1 - (under.mean - sensor.zero) / level if under is not None else 0.0
    if falls < FALLS:
        fell = f"the light fell by {percent(max(0.0, falls))} alone"
        return CheckStep("hand", False, f"{fell}: is it this sensor, and was the hand over it?")
    return CheckStep("hand", True, f"the light fell by {percent(falls)} under it")


def _zero(bench: Bench, sensor: SensorSettings, _: Sight) -> CheckStep:
    from msgspec import structs

    from ...dose.response import identity_of, zero_play
    from ...notes import CheckStep
    from ...review.layout import unit_text
    from .zero import HOW, per_minute, read_dark

    print(HOW)
    wait_for_enter("capped? press Enter")
    found, why = read_dark(bench, sensor, DARK_S)
    if why is not None:
        return CheckStep("zero", False, f"it is not dark: {why}")
    moved = found.mean - sensor.zero
    play = zero_play(identity_of(sensor), identity_of(structs.replace(sensor, zero_u=found.u)))
    line = f"{moved:+.3g} {unit_text(sensor.unit)} since the last zero{_when(bench, sensor)},"
    line += f" {per_minute(sensor, moved)} in a print"
    if abs(moved) > play:
        return CheckStep("zero", False, f"{line}: `uvdose sensor zero {sensor.name}` takes it anew")
    return CheckStep("zero", True, line)


def _when(bench: Bench, sensor: SensorSettings) -> str:
    """How long ago the zero was taken, where a note tells."""
    from ...notes import ZeroTaken
    from ...stamps import from_iso
    from ...units import US_PER_S
    from ..asking import journal

    with journal(bench.place) as store:
        history = store.note_history(ZeroTaken, sensor.name)
    if not history:
        return ""
    days = (from_iso(bench.daemon.status().utc) - history[-1][0]) // (DAYS_S * US_PER_S)
    return ", of today" if days < 1 else f", {days} day{'s' if days > 1 else ''} ago"


def _buzzer(bench: Bench, sensor: SensorSettings, ask: bool) -> CheckStep:
    from ...asked import CallTestRequest
    from ...messages import CallTestDoc
    from ...notes import CheckStep

    if sensor.format != "native":
        return CheckStep("buzzer", None, "this kind of sensor has none; `uvdose call test` tries the other ways")
    told = bench.daemon.post("call/test", CallTestRequest("buzzer"), CallTestDoc, PATIENCE_S)
    way = next((w for w in told.ways if w.sensor == sensor.name), None)
    if way is None or not way.worked:
        return CheckStep("buzzer", False, way.line if way is not None else "the daemon knows of none")
    if not ask:
        return CheckStep("buzzer", True, f"{way.line}; whether anybody hears it was not asked")
    if yes("did you hear the buzzer"):
        return CheckStep("buzzer", True, "heard")
    return CheckStep("buzzer", False, "the node says that it sounds, nobody heard it: look at its wire, or go nearer")


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("check")(check)
