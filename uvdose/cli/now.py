"""`uvdose status` and `uvdose watch`: the bench now, and live."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, home_of, whole_id

if TYPE_CHECKING:
    from rich.console import Console

    from ..config import Home
    from ..messages import StatusDoc
    from .asking import Daemon

PLAIN_S = 1.0


def status(as_json: Json = False, home: HomeDir = None) -> None:
    """The sensors, and the exposures of today."""
    from .asking import need_daemon
    from .screen import status_text
    from .show import print_json, say

    told = need_daemon(home_of(home)).status()
    if as_json:
        print_json(told)
    else:
        say(status_text(told))


def watch(
    once: Annotated[bool, typer.Option("--once", help="Show it once and end.")] = False,
    until_finished: Annotated[
        str | None, typer.Option(metavar="ID", help="End when this exposure is finished.")
    ] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Light, doses and calls, live, with keys for your acts. Where the output is no terminal: plain lines, as they
    change."""
    from .asking import need_daemon

    until = None if until_finished is None else whole_id(until_finished)
    place = home_of(home)
    daemon = need_daemon(place)
    if sys.stdout.isatty() and not once and not as_json:
        from rich.console import Console

        console = Console()
        if not console.is_dumb_terminal:  # which could not be drawn over
            return _live(place, daemon, console, until)
    _plain(daemon, once, until, as_json)


def _ended(told: StatusDoc, until: int | None) -> bool:
    from .screen import ENDED

    if until is None:
        return False
    found = [d for d in told.exposures if d.id == until]
    if not found:
        raise Refusal(f"no exposure {until} is running or was begun today")
    return all(d.state in ENDED for d in found)


def _live(place: Home, daemon: Daemon, console: Console, until: int | None) -> None:
    from .live import LiveScreen
    from .screen import plain_lines
    from .show import say

    told = LiveScreen(place, daemon, console, lambda told: _ended(told, until)).run()
    for line in plain_lines(told, until):  # the live screen leaves nothing behind
        say(line)


def _plain(daemon: Daemon, once: bool, until: int | None, as_json: bool) -> None:
    from ..clock import pause
    from .screen import plain_lines
    from .show import print_json_line, say

    before: set[str] = set()
    while True:
        told = daemon.status()
        if as_json:
            print_json_line(told)
        else:
            lines = plain_lines(told, until)
            for line in lines:
                if line not in before:
                    say(line)
            before = set(lines)
        if once or _ended(told, until):
            return
        pause(PLAIN_S)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(status)
    app.command()(watch)
