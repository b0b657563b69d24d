"""`uvdose outlook`: how long prints will take, hour by hour. Reads the journal; a daemon is not needed."""

from __future__ import annotations

from typing import Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, file_to_write, home_of, stretch_of

Text = str | None


def outlook(
    targets: Annotated[list[str] | None, typer.Argument(metavar="[TARGET]...", help="Else all that the sun may print.")]
    = None,
    date: Annotated[
        Text, typer.Option("--day", "--date", metavar="DATE", help="YYYY-MM-DD; else today, from now on.")
    ] = None,
    every: Annotated[
        str, typer.Option("--every", metavar="TIME", help="A line for each 30min; a number alone: minutes.")
    ] = "60min",
    queue: Annotated[bool, typer.Option("--queue", help="When each print of the queue would be done.")] = False,
    between: Annotated[
        str, typer.Option("--pause", "--between", metavar="TIME", help="From one print to the next; else 5min.")
    ] = "5min",
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
    minutes, rest = divmod(stretch_of("every", every, "min", 0.0), 60)
    if rest:
        raise Refusal(f"--every {every}: give whole minutes, such as 30min", 2)
    pause = stretch_of("pause", between, "min", 0.0) / 60
    asked = Question(tuple(dict.fromkeys(targets or ())), day_typed(place, date), int(minutes), queue, pause, sensor)
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
