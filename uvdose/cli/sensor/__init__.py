"""`uvdose sensor`: the sensors themselves, before and beside the prints. Each command is a module that adds itself."""

from __future__ import annotations

import typer

from . import check, find, formats, level, scale, watch, zero


def register(app: typer.Typer) -> None:
    """Add the group."""
    group = typer.Typer(help="Find a sensor, and look after it.", no_args_is_help=True, rich_markup_mode=None)
    for command in (find, formats, watch, zero, check, scale, level):
        command.register(group)
    app.add_typer(group, name="sensor")
