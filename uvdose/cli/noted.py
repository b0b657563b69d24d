"""What can be noted of a combination: options that several commands share, and asking for what matters most."""

from __future__ import annotations

from typing import Annotated

import typer

from .questions import answer, at_terminal, text

Text = str | None

# Options; typer reads them at run time.
Process = Annotated[Text, typer.Option(help="The process.")]
Paper = Annotated[Text, typer.Option(help="The paper.")]
Coat = Annotated[Text, typer.Option(help="How it was coated.")]
FilmNoted = Annotated[Text, typer.Option("--film", help="The film of the negatives.")]
Humidity = Annotated[Text, typer.Option(help="Humidity of the paper or the room.")]
Drying = Annotated[Text, typer.Option(help="How it was dried.")]
CoatingAge = Annotated[Text, typer.Option(help="How long ago it was coated.")]
Notes = Annotated[Text, typer.Option(help="Anything else.")]


def noted_of(given: dict[str, str | None], ask: bool) -> dict[str, str]:
    """What is noted of the sheet; process and paper are asked for where somebody can be asked."""
    found = {what: said for what, said in given.items() if said}
    if ask and at_terminal():
        for what in ("process", "paper"):
            if what not in found and (said := answer(None, what, text, f"--{what}", "-")) != "-":
                found[what] = said
    return found
