"""Which commands there are, by task, in the order in which `uvdose --help` lists them, and where each of them lies."""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup

BY_TASK = {
    "At the bench": {
        "demo": "demo", "serve": "serving", "status": "now", "watch": "now", "expose": "acts", "hold": "acts",
        "resume": "acts", "finish": "acts", "quiet": "acts", "again": "mend", "queue": "next_up", "outlook": "outlook",
        "benches": "all_benches",
    },
    "Put right afterwards": {"undo": "mend", "move": "mend", "shade": "mend"},
    "How much light a print wants": {
        "target": "targets", "strip": "calibration.strip", "tablet": "calibration.tablet", "film": "calibration.film",
        "process": "calibration.process", "verdict": "calibration.verdict", "edition": "editions",
    },
    "Looking back": {
        "days": "lookback", "day": "lookback", "prints": "prints", "note": "noting", "suppose": "supposed",
        "import": "bring", "export": "lookback", "events": "happened", "recount": "lookback",
        "together": "together",
    },
    "Sensors, calls, upkeep": {
        "sensor": "sensor", "lamp": "lamp", "call": "ways", "phone": "phones", "journal": "journal",
        "service": "unit_commands",
    },
}  # fmt: skip
MODULES = {name: module for commands in BY_TASK.values() for name, module in commands.items()}
_WITH_VALUE = "--home"


class ByTask(TyperGroup):
    """The root of the commands."""

    def list_commands(self, ctx: Any) -> list[str]:
        """By task."""
        return [name for name in MODULES if name in self.commands]

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """A heading for each task."""
        width = max(map(len, MODULES))
        for title, names in BY_TASK.items():
            found = [(n.ljust(width), self.commands[n].get_short_help_str()) for n in names if n in self.commands]
            if found:
                with formatter.section(title):
                    formatter.write_dl(found)


def module_of(arguments: list[str]) -> str | None:
    """Where the command that is called lies; None where all of them are asked for, or nobody knows it."""
    words = iter(arguments)
    for word in words:
        if word == _WITH_VALUE:
            next(words, None)
        elif not word.startswith(f"{_WITH_VALUE}="):
            return MODULES.get(word)
    return None
