"""`uvdose sensor find`: which sensors are here, what they send, and the settings that read them."""

from __future__ import annotations

import typer

from ...model import Refusal
from ..options import HomeDir


def find(home: HomeDir = None) -> None:
    """Look for sensors on the ports and at the broker, and propose their settings."""
    raise Refusal("this does not look for sensors yet: write the settings by hand, as the README shows")


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("find")(find)
