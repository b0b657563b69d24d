"""The home that a call named, for the command and for the hints in what it says."""

from __future__ import annotations

import re
import shlex

from ..model import Refusal

_given: list[str] = []
_HINT = re.compile(r"`uvdose(?! demo| [^`]*--(?:help|home))((?: [^`]+)?)`")


def remember_home(given: str | None) -> None:
    """`uvdose --home DIR command`, or `--home` after the command: kept for the command, and for its hints."""
    _given[:] = [given] if given is not None else []


def given_home(after_command: str | None) -> str | None:
    """The folder given after the command, else before it; None when neither was."""
    if after_command is not None:
        remember_home(after_command)
    given = next(iter(_given), None)
    if given is not None and not given.strip():
        raise Refusal("--home: give a folder", 2)
    return given


def one_line(text: str) -> str:
    """A text as one line that steers no terminal: names of files, and what a home holds, may hold anything."""
    line = " ".join(text.split())
    if line.isprintable():
        return line
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in line)


def hinted(text: str) -> str:
    """A text whose hints (commands in backticks) work as typed: they name the home that this call named."""
    if not _given or not _given[0].strip():
        return text
    home = shlex.quote(_given[0])
    return _HINT.sub(lambda found: f"`uvdose{found[1]} --home {home}`", text)
