"""What may stand next on a line that is being typed: commands, options, or which kind of name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from .app import tree
from .tree import MODULES, module_of

FILES = "files"
_WORDS = re.compile(r"[a-z0-9.-]+(\|[a-z0-9.-]+)+")  # one of these, such as open|shade|window
_HELP = "--help"

# What kind of name an argument wants, by the command, or by the group for all of its commands.
_ARGUMENTS: dict[str, tuple[str, ...]] = {
    "expose": ("targets",), "hold": ("hold",), "resume": ("resume",), "finish": ("finish",), "quiet": ("running",),
    "again": ("again",), "undo": ("late",), "move": ("late", "acts"), "shade": ("late",), "recount": ("late",),
    "verdict": ("late",), "note": ("late",), "outlook": ("targets",), "suppose": ("targets",), "day": ("days",),
    "process": ("processes",), "queue add": ("targets",), "target": ("targets",), "target diff": ("targets", "targets"),
    "strip": ("strips",), "tablet": ("tablets",), "film": ("films",), "edition": ("editions",), "sensor": ("sensors",),
    "lamp": ("sensors",), "lamp distance": (),
}  # fmt: skip
_OPTIONS = {
    "--sensor": "sensors", "--against": "sensors", "--target": "targets", "--frame": "frames", "--edition": "editions",
    "--film-base": "films", "--until-finished": "running",
}  # fmt: skip


class Offer(NamedTuple):
    """One word that may stand there, and what it is."""

    word: str
    means: str = ""


class Asked(NamedTuple):
    """What may stand where the line ends.

    offers: of the commands themselves. kind: of names that the home holds, `files`, or nothing. typed: what is there
    of the word; lead: what of it comes before, as `--sensor=`. home: the folder that the line names.
    """

    offers: list[Offer]
    kind: str
    typed: str
    lead: str
    home: str | None


def asked(words: list[str], means: bool) -> Asked:
    """What may stand in the place of the last word. means: whether the commands' summaries are wanted, which takes all
    modules where the command itself is asked for."""
    *before, last = words or [""]
    module = module_of(before)
    command: Any = tree(module) if module is not None or means or last.startswith("-") else None
    path, used, home, waits, arguments = "", [], None, None, 0
    for word in before:
        if waits is not None:
            home, waits = (word if "--home" in waits.opts else home), None
        elif word.startswith("-") and word != "-":
            name, _, value = word.partition("=")
            used.append(name)
            home = value if name == "--home" and value else home
            option = _option(command, name) if command is not None else None
            waits = option if option is not None and not option.is_flag and "=" not in word else None
            if command is None and name == "--home" and "=" not in word:  # before any command
                command = tree(None)
                waits = _option(command, name)
        elif command is None or hasattr(command, "commands"):
            if command is None or word not in command.commands:
                return Asked([], "", last, "", home)
            command, path = command.commands[word], f"{path} {word}".strip()
        else:
            arguments += 1
    if waits is not None:
        return _value(waits, last, "", home)
    name, sign, value = last.partition("=")
    if sign and name.startswith("--") and command is not None and (option := _option(command, name)) is not None:
        return _value(option, value, f"{name}=", home) if not option.is_flag else Asked([], "", last, "", home)
    if last.startswith("-"):
        return Asked(list(_options(command, used)), "", last, "", home)
    if command is None:
        return Asked([Offer(name) for name in MODULES], "", last, "", home)
    if hasattr(command, "commands"):
        return Asked([Offer(n, c.get_short_help_str(72)) for n, c in command.commands.items()], "", last, "", home)
    return _argument(command, path, arguments, last, used, home)


def _option(command: Any, name: str) -> Any:
    return next((p for p in command.params if name in (*p.opts, *p.secondary_opts) and name.startswith("-")), None)


def _options(command: Any, used: list[str]) -> Iterator[Offer]:
    for param in command.params:
        names = [name for name in (*param.opts, *param.secondary_opts) if name.startswith("--")]
        if param.param_type_name != "option" or param.hidden or (not param.multiple and set(names) & set(used)):
            continue
        for name in names:
            if name != _HELP:
                yield Offer(name, param.help or "")
    yield Offer(_HELP, "Show what it does.")


def _value(param: Any, typed: str, lead: str, home: str | None) -> Asked:
    metavar = param.metavar or ""
    if _WORDS.fullmatch(metavar):
        return Asked([Offer(word) for word in metavar.split("|")], "", typed, lead, home)
    if "FILE" in metavar or metavar in ("DIR", "PATH"):
        return Asked([], FILES, typed, lead, home)
    kind = "days" if metavar == "DATE" else next((_OPTIONS[name] for name in param.opts if name in _OPTIONS), "")
    return Asked([], kind, typed, lead, home)


def _argument(command: Any, path: str, place: int, typed: str, used: list[str], home: str | None) -> Asked:
    wanted = [p for p in command.params if p.param_type_name == "argument"]
    if wanted and wanted[-1].nargs == -1:
        place = min(place, len(wanted) - 1)
    if place >= len(wanted):  # nothing but an option can follow
        return Asked(list(_options(command, used)), "", typed, "", home)
    found = _value(wanted[place], typed, "", home)
    kinds = _ARGUMENTS.get(path, _ARGUMENTS.get(path.partition(" ")[0], ()))
    return found._replace(kind=kinds[place]) if place < len(kinds) and not found.offers else found
