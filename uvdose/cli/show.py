"""Printing, shared by the commands: JSON, lines, and the number to pencil on a sheet."""

from __future__ import annotations

import os
import sys

import msgspec

from .given import hinted, one_line

# Each figure five rows of four, one hexadecimal digit a row: its bits are the dots.
_FIGURES = ("69996", "26227", "6924F", "E161E", "99F11", "F8E1E", "68E96", "F1244", "69696", "69716")


def print_json(value: object) -> None:
    """One JSON document, indented for a person and as good for a program."""
    print(msgspec.json.format(msgspec.json.encode(value), indent=2).decode(), flush=True)


def print_json_line(value: object) -> None:
    """One JSON document in one line."""
    print(msgspec.json.encode(value).decode(), flush=True)


def say(text: str) -> None:
    """Text for a person; the commands that it hints at name the home that this call named."""
    from ..review.layout import fitted

    print(fitted(hinted(text)), flush=True)


def has_colour() -> bool:
    """Whether the output is a terminal that may show colours."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def note(line: str) -> None:
    """A line beside the result, on standard error, so that what a program reads stays clean."""
    print(f"uvdose: {hinted(one_line(line))}", file=sys.stderr, flush=True)


def big(number: int) -> list[str]:
    """A number in big figures, five lines high."""
    return ["  ".join(_row(_FIGURES[int(d)][i]) for d in str(number)).rstrip() for i in range(5)]


def _row(dots: str) -> str:
    return "".join("██" if int(dots, 16) & bit else "  " for bit in (8, 4, 2, 1))
