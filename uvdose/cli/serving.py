"""`uvdose serve`: the daemon in the foreground."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from .options import HomeDir, finite, home_of

MAX_PACE = 10_000.0


def serve(
    pace: Annotated[float, typer.Option(metavar="TIMES", help="Rehearse so many times faster than real time.")] = 1.0,
    home: HomeDir = None,
) -> None:
    """Run the daemon, in the foreground.

    It prints `ready` and its address when every link is started, and runs until it is ended.
    """
    finite(pace, "--pace", 0.0, MAX_PACE, "1, or 60 for a rehearsal")
    place = home_of(home)
    from ..daemon import serve as run_daemon
    from ..notify import levelled, logs_to_journal
    from .show import say

    run_daemon(place, pace, levelled(say) if logs_to_journal(os.environ, 1) else say)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(serve)
