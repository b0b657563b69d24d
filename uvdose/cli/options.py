"""Options and arguments that several commands share, and how they are checked."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal

if TYPE_CHECKING:
    from ..config import Home

MAX_ID = 2**31 - 1

# typer reads these at run time.
HomeDir = Annotated[
    str | None,
    typer.Option("--home", metavar="DIR", help="The home folder; else UVDOSE_HOME, else the user's data folder."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]
Looks = Annotated[
    list[float] | None,
    typer.Option("--look", metavar="FRACTION", help="Call for a look at this share of the target; repeat for more."),
]
NoLook = Annotated[bool, typer.Option("--no-look", help="No look calls.")]
Lead = Annotated[
    float | None,
    typer.Option("--lead", metavar="SECONDS", help="Call this long before the target at the latest; 0: no lead call."),
]
Overshoots = Annotated[
    list[float] | None,
    typer.Option("--overshoot", metavar="STOPS", help="Call again this many stops past the target; repeat for more."),
]
NoOvershoot = Annotated[bool, typer.Option("--no-overshoot", help="No calls past the target.")]

_before_command: list[str] = []


def remember_home(given: str | None) -> None:
    """`uvdose --home DIR command`: kept until the command asks."""
    _before_command[:] = [given] if given is not None else []


def given_home(after_command: str | None) -> str | None:
    """The folder given after the command, else before it; None when neither was."""
    given = after_command if after_command is not None else next(iter(_before_command), None)
    if given is not None and not given.strip():
        raise Refusal("--home: give a folder", 2)
    return given


def home_of(after_command: str | None) -> Home:
    """The home folder that a command works on."""
    from ..config import find_home

    return find_home(given_home(after_command))


def several(values: list[float] | None, none: bool, option: str) -> tuple[float, ...] | None:
    """Values of a repeated option; () for its `--no-` form, None when nothing was said. Raises `Refusal`."""
    if values and none:
        raise Refusal(f"--{option} and --no-{option} cannot both be meant; leave one out", 2)
    if none:
        return ()
    return tuple(values) if values else None


def whole_id(text: str, what: str = "exposure") -> int:
    """An id that a person typed. Raises `Refusal` (code 2)."""
    if not (text.isascii() and text.isdigit() and 0 < len(text) < 12 and 0 < int(text) <= MAX_ID):
        raise Refusal(f"{what} {text!r}: give its number, such as 12; `uvdose status` and `uvdose day` show it", 2)
    return int(text)


def finite(value: float, what: str, low: float, high: float, example: str) -> float:
    """A number in (low, high]. Raises `Refusal` (code 2) for anything else, NaN too."""
    if not (math.isfinite(value) and low < value <= high):
        raise Refusal(f"{what} {value:g}: give a number above {low:g} and up to {high:g}, such as {example}", 2)
    return value
