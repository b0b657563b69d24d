"""Calls of uvdose that a document shows, held against the tree of commands."""

from __future__ import annotations

import re
import shlex
from typing import Any

from uvdose.cli.app import tree

_STANDS_FOR = re.compile(r"[A-Z]{2,}|…|\.\.\.")  # a word for a value, or what was left out


def found(call: str) -> tuple[Any, str, list[str]]:
    """The command that a call names, its path, and the words after it. Fails where there is none of that name."""
    words = shlex.split(call, comments=True)[1:]
    command: Any = tree()
    path = "uvdose"
    while hasattr(command, "commands") and words and not words[0].startswith("-"):
        name = words.pop(0)
        assert name in command.commands, f"no command {name!r} in {call!r}"
        command, path = command.commands[name], f"{path} {name}"
    return command, path, words


def check_names(call: str) -> None:
    """The command, and the options that it names, exist; what is mentioned only need not be whole."""
    command, _, words = found(re.sub(r"[\[\]]", "", call))
    known = {option for p in command.params for option in (*p.opts, *p.secondary_opts)} | {"--help", "--home"}
    for word in words:
        if word.startswith("--"):
            assert word.partition("=")[0] in known, f"no option {word} in {call!r}"


def check_call(call: str) -> None:
    """The command takes this call, as it stands: options, values and how many words. Runs nothing."""
    check_names(call)
    command, path, words = found(call)
    if hasattr(command, "commands") or _STANDS_FOR.search(re.sub(r'"[^"]*"', "", call)):
        return
    try:
        command.make_context(path, words).close()
    except Exception as err:
        raise AssertionError(f"{call!r} is refused: {err}") from err
