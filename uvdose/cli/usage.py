"""What to say of a call that cannot be read: in a printer's words where the library has its own."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

_NO_NUMBER = re.compile(r"valid (number|float|integer|int)\b")
_OPTION = re.compile(r"Invalid value for '(-[^' ]+)'")
_TOO_MUCH = re.compile(r"unexpected extra arguments?(?:\(s\))? \((.+)\)")
SHOWN = 40
FEW = 16  # commands that are named where one is missing


def usage_words(err: Exception, arguments: Sequence[str]) -> str:
    """One line on an error of usage, and where to read on. arguments: the call, as it was typed."""
    told = " ".join(str(getattr(err, "format_message", lambda: str(err))()).split()).rstrip(".")
    context = getattr(err, "ctx", None)
    path = context.command_path if context is not None else "uvdose"
    commands = getattr(getattr(context, "command", None), "commands", {})
    if commands and told.startswith(("Usage:", "Missing command")):  # a version's way to say that a word is missing
        told = f"say what to do: one of {', '.join(commands)}" if len(commands) <= FEW else (
            "say what to do, such as `uvdose demo` or `uvdose status`")
    elif number := _NO_NUMBER.search(told):
        told = _no_number(told, arguments, whole=number[1].startswith("int"))
    elif extra := _TOO_MUCH.search(told):
        told = f'{extra[1]!r} is one word too many: words that belong together want quotes, such as "rag 120 g"'
    elif told.startswith("Missing argument") and (means := getattr(getattr(err, "param", None), "help", None)):
        told = f"{told}: {means[0].lower()}{means[1:].rstrip('.')}"
    return f"{told}; see `{path} --help`"


def _no_number(told: str, arguments: Sequence[str], *, whole: bool) -> str:
    option = _OPTION.search(told)
    name = option[1] if option is not None else ""
    typed = _typed(name, arguments)
    what = f"{name} {typed[:SHOWN]!r}" if typed is not None else name or told
    if whole:
        return f"{what}: give a whole number, such as 3"
    like = typed.replace(",", ".") if typed is not None and re.fullmatch(r"[0-9]+,[0-9]+", typed) else "2.5"
    return f"{what}: give a plain number, its decimals behind a point, without a unit, such as {like}"


def _typed(option: str, arguments: Sequence[str]) -> str | None:
    """What stands behind an option that is no number; the last of them where it is repeated."""
    found = [b for a, b in pairwise(arguments) if a == option]
    found += [a.partition("=")[2] for a in arguments if option and a.startswith(f"{option}=")]
    return next((word for word in found if not _is_number(word)), None)


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True
