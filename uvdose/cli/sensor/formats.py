"""`uvdose sensor formats`: what a sensor's lines may look like, and what `field` is for each."""

from __future__ import annotations

import json

import typer

from ..options import Json


def formats(as_json: Json = False) -> None:
    """What a sensor may send: each `format` of the settings, what `field` names there, and a line of it (invented)."""
    from ...decode.formats import FORMATS
    from ..show import say

    if as_json:
        told = [{"format": f.name, "about": f.about, "field": f.field, "example": f.example} for f in FORMATS]
        say(json.dumps({"formats": told}, ensure_ascii=False))
        return
    say("native: the line of this project's nodes (firmware_notes/wire-format.md); no field")
    for one in FORMATS:
        say(f"{one.name}: {one.about}; field: {one.field}")
        say(f"    {one.example}")
    say("auto: any of these, decided once enough lines agree; `uvdose sensor find` says what to write instead")


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command()(formats)
