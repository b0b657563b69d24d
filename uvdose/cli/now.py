"""`uvdose status` and `uvdose watch`: the bench now, and live."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, home_of, whole_id

if TYPE_CHECKING:
    from rich.text import Text as RichText

    from ..messages import StatusDoc
    from .asking import Daemon

LIVE_S = 0.25
PLAIN_S = 1.0
_STYLES = {"strong": "bold", "alarm": "bold red"}


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
    """Irradiance, doses and calls, live. Where the output is no terminal: plain lines, as they change."""
    from .asking import need_daemon

    until = None if until_finished is None else whole_id(until_finished)
    daemon = need_daemon(home_of(home))
    if sys.stdout.isatty() and not once and not as_json:
        _live(daemon, until)
    else:
        _plain(daemon, once, until, as_json)


def _ended(told: StatusDoc, until: int | None) -> bool:
    from .screen import ENDED

    if until is None:
        return False
    found = [d for d in told.exposures if d.id == until]
    if not found:
        raise Refusal(f"no exposure {until} is running or was begun today")
    return all(d.state in ENDED for d in found)


def _live(daemon: Daemon, until: int | None) -> None:
    from rich.console import Console
    from rich.live import Live

    from ..clock import pause

    told = daemon.status()
    console = Console()
    with Live(_picture(told, console.width), console=console, auto_refresh=False, transient=False) as live:
        while not _ended(told, until):
            pause(LIVE_S)
            told = daemon.status()
            live.update(_picture(told, console.width), refresh=True)


def _picture(told: StatusDoc, width: int) -> RichText:
    from rich.text import Text

    from .screen import live_lines

    picture = Text(no_wrap=True, overflow="ellipsis")
    for i, (line, style) in enumerate(live_lines(told, width)):
        picture.append(("\n" if i else "") + line, style=_STYLES.get(style, ""))
    return picture


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
