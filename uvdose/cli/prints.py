"""`uvdose prints`: find prints again, or sum them up by a label, a paper, a month."""

from __future__ import annotations

from typing import Annotated

import typer

from ..model import Refusal
from .lookback import stretch_of_days
from .options import HomeDir, Json, home_of
from .questions import one_of

Text = str | None
MOST = 100_000


def prints(
    target: Annotated[Text, typer.Option(metavar="NAME[:VERSION]", help="Printed at this target.")] = None,
    process: Annotated[Text, typer.Option(help="The process, or a part of the word.")] = None,
    paper: Annotated[Text, typer.Option(help="The paper, or a part of its name.")] = None,
    coat: Annotated[Text, typer.Option(help="How it was coated, or a part of it.")] = None,
    film: Annotated[Text, typer.Option(help="The film, or a part of its name.")] = None,
    label: Annotated[Text, typer.Option(help="The label, or a part of it.")] = None,
    text: Annotated[Text, typer.Option(help="A part of what was noted, or said with the verdict.")] = None,
    verdict: Annotated[Text, typer.Option(metavar="light|right|dark|none", help="How it was judged.")] = None,
    frame: Annotated[Text, typer.Option(help="The frame it lay in.")] = None,
    sensor: Annotated[Text, typer.Option(help="The sensor that counted it.")] = None,
    edition: Annotated[Text, typer.Option(help="The edition that it is of.")] = None,
    on: Annotated[Text, typer.Option("--day", metavar="DATE", help="Begun on this local day.")] = None,
    from_day: Annotated[Text, typer.Option("--from", metavar="DATE", help="Begun on this day or later.")] = None,
    to_day: Annotated[Text, typer.Option("--to", metavar="DATE", help="Begun on this day or earlier.")] = None,
    void: Annotated[bool, typer.Option("--void", help="Also those whose start was taken back.")] = False,
    by: Annotated[Text, typer.Option(metavar="WHAT", help="Sum them up by label, target, process, paper, coat, film,"
                                                          " frame, sensor, edition, day or month.")] = None,
    limit: Annotated[int, typer.Option(help="How many lines at most.")] = 30,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Find prints, the newest first.

    All that is named must be so. A day is YYYY-MM-DD, today or yesterday.
    """
    from ..review import groups
    from ..review.print_text import found_lines, group_lines
    from ..review.prints import EVER_US, TONES, UNJUDGED, Sought, find
    from .asking import journal
    from .show import print_json, say

    if not 1 <= limit <= MOST:
        raise Refusal(f"--limit {limit}: give 1 to {MOST}", 2)
    if by is not None and by not in groups.BY:
        raise Refusal(f"--by {by}: one of {', '.join(groups.BY)}", 2)
    place = home_of(home)
    wall0_us, wall1_us = stretch_of_days(place, on, from_day, to_day)
    sought = Sought(
        target, process, paper, coat, film, label, text, None if verdict is None else one_of(*TONES, UNJUDGED)(verdict),
        frame, sensor, edition, wall0_us, min(wall1_us, EVER_US), void,
    )  # fmt: skip
    with journal(place) as store:
        if not as_json and store.last_day_wall_us() is None:
            say("no exposure in the journal yet: `uvdose expose TARGET` begins one")
            return
        doc = find(store, sought, limit) if by is None else groups.group(store, sought, by, limit)
    if as_json:
        print_json(doc)
    else:
        say("\n".join(group_lines(doc) if isinstance(doc, groups.GroupsDoc) else found_lines(doc)))


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(prints)
