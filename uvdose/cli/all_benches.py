"""`uvdose benches`: all benches at one broker, as they tell it of themselves. It only looks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, broker_of, home_of

if TYPE_CHECKING:
    from ..config import Home, MqttSettings
    from ..listed import BenchAlarm, BenchDoc, BenchesDoc
    from ..messages import ExposureDoc
    from ..overlook import Overlook

LEAST_S, MOST_S = 2.5, 600.0  # every bench that is here has been heard twice by then
STEP_S = 0.05
TAKEN_S = 5.0
WORDS = {"here": "here", "silent": "SILENT", "gone": "GONE", "unheard": "not heard yet"}
LABEL, NAME = 24, 40


def benches(
    broker: Annotated[
        str | None, typer.Option("--broker", metavar="HOST[:PORT]", help="At this broker; else that of the settings.")
    ] = None,
    seconds: Annotated[float, typer.Option(metavar="N", help="Listen so long at most.")] = 7.0,
    forget: Annotated[
        str | None, typer.Option("--forget", metavar="NAME", help="Take away what the broker keeps of a bench that is"
                                                                  " gone.")
    ] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """All benches at one broker, and what lies in their light.

    How far each print is, which calls are on, and which bench is gone. It listens for some seconds, and needs no
    daemon here. Paired phones see the same at /benches.
    """
    from ..overlook import Overlook
    from .show import print_json, say

    place = home_of(home)
    if not (math.isfinite(seconds) and 0 < seconds <= MOST_S):
        raise Refusal(f"--seconds {seconds:g}: give a number above 0 and up to {MOST_S:g}, such as 7", 2)
    look = Overlook(_broker(place, broker), place.folder)
    try:
        found = _listened(look, seconds)
        if forget is not None:
            _forget(look, found, forget)
    finally:
        look.end()
    if forget is not None:
        say(f"bench {forget}: what the broker kept of it is taken away")
    elif as_json:
        print_json(found)
    else:
        say("\n".join(lines_of(found)))


def _broker(place: Home, named: str | None) -> MqttSettings:
    from ..config import load_settings

    if named is not None:
        return broker_of(named)
    mqtt = load_settings(place).mqtt
    if mqtt is None:
        raise Refusal(f"no broker is set up: add [mqtt] to {place.settings_file}, or name one with --broker")
    return mqtt


def _listened(look: Overlook, seconds: float) -> BenchesDoc:
    """What was heard, as soon as each bench is known to be here or not. Raises `Refusal` where the broker refuses."""
    from ..clock import pause, real_s

    begin_s = real_s()
    while True:
        found = look.now()
        if found.trouble:
            raise Refusal(found.trouble)
        heard_s = found.listened_s or 0.0
        known = all(b.state != "unheard" for b in found.benches)
        if (known and heard_s >= min(LEAST_S, seconds)) or heard_s >= seconds:
            return found
        if real_s() - begin_s > seconds + TAKEN_S:
            raise Refusal(f"the broker at {found.broker} does not answer: check mqtt.host and mqtt.port")
        pause(STEP_S)


def _forget(look: Overlook, found: BenchesDoc, name: str) -> None:
    bench = next((b for b in found.benches if b.name == name), None)
    if bench is None:
        known = ", ".join(b.name for b in found.benches)
        raise Refusal(f"the broker keeps nothing of a bench {name!r}; it does of: {known or 'none'}")
    if bench.state not in ("gone", "silent"):
        raise Refusal(f"bench {name} is {WORDS[bench.state]}: end its daemon first, else it says all of it again")
    if not look.forget(name, TAKEN_S):
        raise Refusal(f"the broker did not take it: look again with `uvdose benches`, and at {name} in its access list")


def lines_of(found: BenchesDoc) -> list[str]:
    """All benches for a terminal."""
    from ..review.layout import shorten, wrap

    lines = [f"benches at the broker {found.broker}, heard for {found.listened_s or 0:.0f} s"]
    if not found.benches:
        lines += ["", "none has said anything: a bench with [mqtt] in its settings does while `uvdose serve` runs"]
    for bench in found.benches:
        lines += ["", f"{shorten(bench.name, NAME)}  {WORDS[bench.state]}{_age(bench)}"]
        lines += _prints(bench)
        told = [*bench.troubles, *map(_alarm, bench.alarms)]
        if bench.unread:
            told.append(f"{bench.unread} messages of it cannot be read: it may be of another version, or no bench")
        lines += [part for line in told for part in wrap(line, "  ! ", "    ")]
    if found.left_out:
        lines += ["", f"left out: {found.left_out} messages that are no bench's, or of more benches than are shown"]
    return lines


def _age(bench: BenchDoc) -> str:
    """How old its figures are, by this machine's clock, and when they were told, by its own."""
    from ..review.layout import moment_of

    if bench.utc is None:
        return ", and told no figures"
    if bench.state == "here":
        return ""
    old = f"{_span(bench.age_s)} old" if bench.age_s is not None else f"at least {_span(bench.at_least_s or 0.0)} old"
    return f"; its figures are {old}, told {moment_of(bench.utc)} by its own clock"


def _alarm(alarm: BenchAlarm) -> str:
    return f"{', '.join(alarm.sensors)}{f' and {alarm.more} more' if alarm.more else ''}: {alarm.line}"


def _span(seconds: float) -> str:
    from ..units import minutes

    return f"{seconds:.0f} s" if seconds < 60 else minutes(seconds)


def _prints(bench: BenchDoc) -> list[str]:
    from ..review.layout import alarm_words, columns, shorten
    from ..units import percent
    from .screen import call_words, dose_bar

    if bench.utc is None:
        return []
    if not bench.exposures:
        return ["  nothing is in the light" if bench.state == "here" else "  nothing was in the light"]
    fresh = bench.state == "here"
    rows = [
        [f"  {d.id}", shorten(d.label or "-", LABEL), f"frame {shorten(d.frame, 12)}", shorten(d.title, LABEL),
         dose_bar(d.fraction, 20), percent(d.fraction), _left(d) if fresh else f"was {d.state}",
         "; ".join([call_words(d.unanswered), *map(alarm_words, d.alarms)]).strip("; ")]
        for d in bench.exposures
    ]  # fmt: skip
    return columns(rows, right=(0, 5)) + ([f"  and {bench.more} more"] if bench.more else [])


def _left(d: ExposureDoc) -> str:
    from .screen import left_words

    return left_words(d)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(benches)
