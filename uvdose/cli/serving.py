"""`uvdose serve`: the daemon in the foreground."""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from ..model import Refusal
from .options import HomeDir, finite, home_of

MAX_PACE = 10_000.0


def serve(
    pace: Annotated[float, typer.Option(metavar="TIMES", help="Rehearse so many times faster than real time.")] = 1.0,
    lan: Annotated[bool, typer.Option("--lan", help="Let paired phones in the network reach it, too.")] = False,
    port: Annotated[
        int | None, typer.Option(metavar="PORT", help="With --lan: at this port, else 8465; 0: any free one.")
    ] = None,
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="With --lan: announce it in the network as NAME.local.")
    ] = None,
    home: HomeDir = None,
) -> None:
    """Run the daemon, in the foreground.

    It prints `ready` and its address when every link is started, and runs until it is ended. With --lan it prints what
    pairs a phone: a QR code, and the address in it.
    """
    finite(pace, "--pace", 0.0, MAX_PACE, "1, or 60 for a rehearsal")
    place = home_of(home, tell_zone=False)
    from ..config import NETWORK_NAME

    if port is not None and not 0 <= port <= 65535:
        raise Refusal(f"--port {port}: give a port from 1 to 65535, such as 8465, or 0 for any free one", 2)
    if name is not None and not NETWORK_NAME.match(name):
        raise Refusal(f"--name {name!r}: give letters, digits and - (at most 40), such as bindery", 2)
    from ..daemon import serve as run_daemon
    from ..notify import levelled, logs_to_journal
    from ..web.front import Reach
    from .show import has_colour, say

    told = levelled(say) if logs_to_journal(os.environ, 1) else say
    run_daemon(place, pace, told, Reach(lan, port, name, sys.stdout.isatty(), has_colour()))


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(serve)
