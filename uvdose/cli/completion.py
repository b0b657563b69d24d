"""`uvdose shell`: what a shell needs to complete commands, options and names, and its answers."""

from __future__ import annotations

import re
from importlib.resources import files
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .given import one_line

if TYPE_CHECKING:
    from .offered import Asked, Offer

# The file of each shell, where packages of a system put it, too.
SCRIPTS = {"bash": "shells/bash/uvdose", "zsh": "shells/zsh/_uvdose", "fish": "shells/fish/uvdose.fish"}
MOST = 400
_BREAKS = re.compile(r"[=:]+")
_PLAIN = re.compile(r"([^\w.+:@%/=,-])")
_LIVE_IN_QUOTES = re.compile(r"([$`\"\\])")


def shell_part(
    shell: Annotated[str, typer.Argument(metavar="bash|zsh|fish", help="The shell that is to complete.")],
    line: Annotated[
        list[str] | None,
        typer.Argument(metavar="[WORD]...", help="The words typed so far: answers what may stand for the last of them."
                                                 " What is printed without them asks so."),
    ] = None,
) -> None:
    """What lets a shell complete commands, options and names.

    Prints it, to be put where the shell looks for such; the README says where.
    """
    if shell not in SCRIPTS:
        raise Refusal(f"shell {shell!r}: one of {', '.join(SCRIPTS)}", 2)
    if line is None or not line:
        print(files(__package__).joinpath(SCRIPTS[shell]).read_text(encoding="utf-8"), end="")
        return
    try:
        told = answer(shell, line)
    except Exception:  # whatever is wrong is told by the command itself, when it is called; not into a line being typed
        told = ["words"]
    print("\n".join(told))


def answer(shell: str, line: list[str]) -> list[str]:
    """`words` and one line for each that may stand there, or `files`. Raises whatever a broken home raises."""
    from .offered import FILES, asked

    words, cut, quote = line, 0, ""
    if shell == "bash":
        words = _glued(line)
        cut = len(words[-1]) - (0 if _BREAKS.fullmatch(line[-1]) else len(line[-1]))
        quote = words[-1][cut : cut + 1] if words[-1][cut:].startswith(("'", '"')) else ""
        words = [_unquoted(word) for word in words]
    found = asked(words, means=shell != "bash")
    if found.kind == FILES:
        return [FILES]
    offers = [o for o in (*found.offers, *_of_home(found)) if o.word.startswith(found.typed) and o.word.isprintable()]
    if quote == '"':
        offers = [o for o in offers if "!" not in o.word]  # nothing within takes its meaning from it
    return ["words", *(_line(shell, o, found.lead, cut, quote) for o in offers[:MOST])]


def _of_home(found: Asked) -> list[Offer]:
    if not found.kind:
        return []
    from ..config import find_home
    from .named import named

    return named(found.kind, find_home(found.home))


def _line(shell: str, offer: Offer, lead: str, cut: int, quote: str) -> str:
    """The offer as the shell wants it; quote: what its word begins with in bash, which puts in as it stands what it is
    given, for the person to run."""
    word, means = f"{lead}{offer.word}", one_line(offer.means)
    if shell == "bash":
        bare = word[cut:]
        if quote == "'":
            return bare.replace("'", "'\\''")
        return (_LIVE_IN_QUOTES if quote else _PLAIN).sub(r"\\\1", bare)
    if shell == "zsh":
        word = word.replace("\\", "\\\\").replace(":", "\\:")
        return f"{word}:{means}" if means else word
    return f"{word}\t{means}" if means else word


def _glued(line: list[str]) -> list[str]:
    """Words as they were typed: bash breaks them at = and :, which stand apart then."""
    words: list[str] = []
    for i, piece in enumerate(line):
        if i and (_BREAKS.fullmatch(piece) or _BREAKS.fullmatch(line[i - 1])):
            words[-1] += piece
        else:
            words.append(piece)
    return words


def _unquoted(word: str) -> str:
    """A word of bash's line without its quotes; one of them may still be open."""
    if word.startswith(("'", '"')):
        return word[1:].removesuffix(word[0])
    return re.sub(r"\\(.)", r"\1", word)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("shell")(shell_part)
