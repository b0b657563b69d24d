"""`uvdose target drift`: how a target's dose has moved over versions and seasons, and what it goes with."""

from __future__ import annotations

from typing import Annotated

import typer

from .options import HomeDir, Json, home_of


def drift(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The target.")],
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """How the dose has moved from version to version and over the year, and what the prints wanted goes with."""
    from ..review.drift import drift_of
    from ..review.drift_text import drift_lines
    from .asking import journal
    from .show import print_json, say

    with journal(home_of(home)) as store:
        doc = drift_of(store, name)
    if as_json:
        print_json(doc)
    else:
        say("\n".join(drift_lines(doc)))


def register(group: typer.Typer) -> None:
    """Add the command to `uvdose target`."""
    group.command("drift")(drift)
