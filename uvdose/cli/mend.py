"""Repairs: take an act back, move it to when it happened, leave out a shaded stretch, send a print out again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .acts import exposure_of, say_unrecorded
from .options import Ago, At, HomeDir, Json, home_of, moment, whole_id

if TYPE_CHECKING:
    from ..messages import ExposureDoc, TakenBack

Id = Annotated[str, typer.Argument(metavar="ID", help="The exposure's number.")]


def _post(number: str, what: str, body: object, word: str, as_json: bool, home: str | None) -> None:
    from ..messages import Taken
    from .asking import need_daemon
    from .show import print_json, say

    exposure = whole_id(number)
    taken = need_daemon(home_of(home)).post(f"exposures/{exposure}/{what}", body, Taken)
    shown = exposure_of(taken)
    if as_json:
        print_json(shown)
    else:
        say(f"exposure {exposure}: {_taken_back(taken.taken_back) or word}; {_now(shown)}")
    say_unrecorded(taken)


def _taken_back(back: TakenBack | None) -> str:
    from ..review.layout import time_of

    if back is None:
        return ""
    if back.act == "void":
        return "the start taken back counts again"
    return f"taken back: {back.act} of {time_of(back.utc)}"


def _now(shown: ExposureDoc) -> str:
    from ..review.layout import with_unit
    from ..units import percent

    if shown.state == "void":
        return f"it is void now and counts for nothing; `uvdose undo {shown.id}` brings it back"
    dose = with_unit(shown.dose, shown.unit)
    return f"it is {shown.state} at {dose}, {percent(shown.fraction)} of {shown.title}"


def undo(number: Id, as_json: Json = False, home: HomeDir = None) -> None:
    """Take back the newest start, hold, resume or finish.

    It is as if it had never been: the dose is counted anew from the raw readings. A start that is
    taken back makes the exposure void.
    """
    _post(number, "undo", {}, "its newest act is taken back", as_json, home)


def move(
    number: Id,
    act: Annotated[str, typer.Argument(metavar="ACT", help="start, hold, resume or finish: the newest of its kind.")],
    ago: Ago = None,
    at: At = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Say when an act really happened; the dose is counted anew."""
    from ..asked import MoveRequest
    from ..model import Refusal

    when = moment(ago, at)
    if when.ago_s is None and when.at is None:
        raise Refusal("when did it happen? Give --ago, such as 90s or 2m, or --at, such as 14:05:30", 2)
    _post(number, "move", MoveRequest(act, when), f"{act} is moved", as_json, home)


def shade(
    number: Id,
    since: Annotated[str, typer.Option("--from", metavar="TIME", help="Begin: how long ago (5m), or HH:MM:SS.")],
    until: Annotated[
        str | None, typer.Option("--to", metavar="TIME", help="End: how long ago (2m), or HH:MM:SS; else now.")
    ] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Leave out a stretch of shade, on the sensor or the frame alone.

    Up to 60 s are bridged from the light before to the light after; a longer stretch is missing.
    """
    from ..asked import ShadeRequest, When

    def told(text: str) -> When:
        return moment(None, text) if ":" in text else moment(text, None)

    request = ShadeRequest(told(since), told(until) if until is not None else When())
    _post(number, "shade", request, "the shaded stretch is left out", as_json, home)


def again(number: Id, as_json: Json = False, home: HomeDir = None) -> None:
    """A finished print goes out again: dose is added to what it has."""
    _post(number, "again", {}, "it is in the light again", as_json, home)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    for command in (undo, move, shade, again):
        app.command()(command)
