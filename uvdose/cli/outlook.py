"""`uvdose outlook`: how long prints will take, hour by hour. Reads the journal; a daemon is not needed."""

from __future__ import annotations

from typing import Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, file_to_write, home_of

Text = str | None


def outlook(
    targets: Annotated[list[str] | None, typer.Argument(metavar="[TARGET]...", help="Else all that the sun may print.")]
    = None,
    date: Annotated[
        Text, typer.Option("--day", "--date", metavar="DATE", help="YYYY-MM-DD; else today, from now on.")
    ] = None,
    every: Annotated[int, typer.Option("--every", metavar="MIN", help="A line for each so many minutes.")] = 60,
    queue: Annotated[bool, typer.Option("--queue", help="When each print of the queue would be done.")] = False,
    between: Annotated[float, typer.Option(metavar="MIN", help="Minutes from one print to the next.")] = 5.0,
    sensor: Annotated[Text, typer.Option("--sensor", metavar="NAME", help="By the light of this sensor.")] = None,
    out: Annotated[Text, typer.Option("--out", metavar="FILE", help="A chart of the day: .svg, .png or .pdf.")] = None,
    force: Annotated[bool, typer.Option("--force", help="With --out: replace FILE if it is there.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """How long prints will take, in a clear sky and a typical one."""
    from ..ahead import look_ahead
    from ..config import load_settings
    from ..foretold import Question
    from ..review.outlook_text import render
    from .asking import day_typed, journal, now_us
    from .show import note, print_json, say

    place = home_of(home)
    file = file_to_write(out, place) if out is not None else None
    if file is not None:
        from ..review.outlook_chart import check_name

        check_name(file)
        if file.is_file() and not force:
            raise Refusal(f"{file} is there already: choose another name, or say --force")
    asked = Question(tuple(dict.fromkeys(targets or ())), day_typed(place, date), every, queue, between, sensor)
    settings = load_settings(place)
    with journal(place) as store:
        doc = look_ahead(store, settings, asked, now_us(place))
    if file is not None:
        from ..review.outfile import fresh_bytes
        from ..review.outlook_chart import draw

        with fresh_bytes(file, force) as handle:
            draw(doc, handle, file.suffix)
        note(f"the chart lies in {file}")
    if as_json:
        print_json(doc)
    else:
        say(render(doc).rstrip("\n"))


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(outlook)
