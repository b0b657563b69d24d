"""Help in words: what stands for a value is a word for it, not a type of the language this is written in."""

from __future__ import annotations

from typing import Any

WHOLE = 1000  # letters of a short help: lists of commands wrap it, and cut none
WORDS = {
    "str": "TEXT", "text": "TEXT", "int": "N", "integer": "N", "float": "NUMBER", "list[str]": "TEXT",
    "list[float]": "NUMBER", "list[int]": "N",
}  # fmt: skip


def worded(command: Any) -> Any:
    """The same tree of commands, its help in words.

    Versions of typer differ in how they show types and optional arguments. What a version does not have is left alone.
    """
    for param in command.params:
        shows = getattr(param, "display_type_rich", None)
        if param.param_type_name == "option":
            if param.metavar is not None:
                continue
            if shows is not None:
                param.display_type_rich = _in_words(shows)
            elif (word := WORDS.get(getattr(getattr(param, "type", None), "name", ""))) is not None:
                param.metavar = word
            continue
        # Its name says it, and the brackets are set around it.
        if shows is not None:
            param.display_type_rich = _nothing
        elif param.nargs == -1 and not param.required:
            continue  # a version that sets no dots behind a metavar either
        if param.metavar is not None:
            bare = param.metavar.removesuffix("...")
            param.metavar = bare[1:-1] if bare.startswith("[") and bare.endswith("]") else bare
    for each in getattr(command, "commands", {}).values():
        each.short_help = each.short_help or each.get_short_help_str(WHOLE)
        worded(each)
    return command


def _in_words(shows: Any) -> Any:
    def words(ctx: Any) -> str | None:
        said = shows(ctx=ctx)
        return said if said is None else WORDS.get(said.strip("<>."), said)

    return words


def _nothing(ctx: Any) -> None:
    return None
