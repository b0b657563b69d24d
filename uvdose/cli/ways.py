"""`uvdose call test`: whether each way by which a call reaches the person works."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, home_of

if TYPE_CHECKING:
    from ..messages import CallTestDoc, WayDoc

PATIENCE_S = 60.0

calls = typer.Typer(no_args_is_help=False, help="How calls reach you.", rich_markup_mode=None)


@calls.command("test")
def test_calls(
    way: Annotated[
        str | None, typer.Option(metavar="WAY", help="This one alone: buzzer, terminal, desktop, mqtt or push.")
    ] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Try every way by which a call reaches you, and say which worked; ends with 4 when one did not."""
    from ..asked import CallTestRequest
    from ..messages import CallTestDoc
    from .asking import need_daemon
    from .show import print_json, say

    told = need_daemon(home_of(home)).post("call/test", CallTestRequest(way), CallTestDoc, PATIENCE_S)
    if as_json:
        print_json(told)
    else:
        for doc in told.ways:
            say(way_line(doc))
    if not told.worked:
        raise Refusal(_fault(told, way))


def way_line(doc: WayDoc) -> str:
    """One way and how it was found."""
    name = f"{doc.way} {doc.sensor}" if doc.sensor is not None else doc.way
    word = {True: "worked", False: "FAILED", None: "-"}[doc.worked]
    return f"{name:<16}  {word:<6}  {doc.line}"


def _fault(told: CallTestDoc, way: str | None) -> str:
    failed = [f"{doc.way} {doc.sensor}" if doc.sensor else doc.way for doc in told.ways if doc.worked is False]
    if failed:
        return f"these ways to call you did not work: {', '.join(failed)}"
    if way is not None:
        return f"{way}: {told.ways[0].line}"
    return "no way to call you is set up: [call] in uvdose.toml names some, as the README shows"


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(calls, name="call")
