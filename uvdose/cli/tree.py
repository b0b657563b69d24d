"""Which commands there are, by task, in the order in which `uvdose --help` lists them, where each of them lies, and the
line that the list has of it, so that the list is shown without loading them."""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup

BY_TASK = {
    "At the bench": {
        "demo": ("demo", "The whole job on a simulated bench, in about half a minute."),
        "serve": ("serving", "Run the daemon, in the foreground."),
        "status": ("now", "The sensors, and the exposures of today."),
        "watch": ("now", "Light, doses and calls, live, with keys for your acts."),
        "expose": ("acts", "Begin an exposure; shows the number to pencil on the sheet."),
        "hold": ("acts", "The print is out of the light: stop counting."),
        "resume": ("acts", "The print is in the light again: go on counting."),
        "finish": ("acts", "The print is done: its dose is final."),
        "quiet": ("acts", "Silence the present call."),
        "again": ("mend", "A finished print goes out again: dose is added to what it has."),
        "queue": ("next_up", "The queue: who is next at the bench."),
        "outlook": ("outlook", "How long prints will take, in a clear sky and a typical one."),
        "benches": ("all_benches", "All benches at one broker, and what lies in their light."),
    },
    "Put right afterwards": {
        "undo": ("mend", "Take back the newest start, hold, resume or finish."),
        "move": ("mend", "Say when an act really happened; the dose is counted anew."),
        "shade": ("mend", "Leave out a stretch of shade, on the sensor or the frame alone."),
    },
    "How much light a print wants": {
        "target": ("targets", "Targets: the dose that prints one combination right."),
        "strip": ("calibration.strip", "Test strips: a series of doses on one sheet, called step by step."),
        "tablet": ("calibration.tablet", "Step tablets: many doses at once, on one sheet."),
        "film": ("calibration.film", "Film base and negatives: their density in ultraviolet."),
        "process": ("calibration.process", "What is commonly known of a process."),
        "verdict": ("calibration.verdict", "Judge a dry print: its tone, and its highlights."),
        "edition": ("editions", "Editions: prints at the same dose, of one layer or several."),
    },
    "Looking back": {
        "days": ("lookback", "The printing days of a year or a month, one line each."),
        "day": ("lookback", "Review a day: its light, and what each print got."),
        "prints": ("prints", "Find prints, the newest first."),
        "note": ("noting", "Note something of one or more prints."),
        "suppose": ("supposed", "What the light of a past day would have done to a print."),
        "import": ("bring", "Bring readings from a CSV file into the journal."),
        "export": ("lookback", "Take out what the journal holds, as a table."),
        "events": ("happened", "What happened, oldest first."),
        "recount": ("lookback", "Count a dose again from the raw readings."),
        "together": ("together", "A class or a workshop: what several benches did, in one document."),
    },
    "Sensors, calls, upkeep": {
        "sensor": ("sensor", "Find a sensor, and look after it."),
        "lamp": ("lamp", "The lamp: is it warm, how it ages, how even its bed is."),
        "call": ("ways", "How calls reach you."),
        "phone": ("phones", "Pair phones, list them and take them out."),
        "journal": ("journal", "The journal: back it up, check it, prune it."),
        "service": ("unit_commands", "The daemon as a service that starts by itself."),
        "shell": ("completion", "What lets a shell complete commands, options and names."),
        "man": ("man", "The manual page: print it, for `uvdose man | man -l -`."),
    },
}
MODULES = {name: module for commands in BY_TASK.values() for name, (module, _) in commands.items()}
NONE_OF_THEM = ""
_WITH_VALUE = "--home"
_OF_THE_ROOT = ("--help", "-h", "--version")


class ByTask(TyperGroup):
    """The root of the commands."""

    def list_commands(self, ctx: Any) -> list[str]:
        """By task."""
        return [name for name in MODULES if name in self.commands]

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """A heading for each task."""
        width = max(map(len, MODULES))
        for title, commands in BY_TASK.items():
            with formatter.section(title):
                formatter.write_dl([(name.ljust(width), line) for name, (_, line) in commands.items()])


def module_of(arguments: list[str]) -> str | None:
    """Where the command that is called lies; `NONE_OF_THEM` where only the list of them is asked for, None where nobody
    knows what is called."""
    words = iter(arguments)
    for word in words:
        if word == _WITH_VALUE:
            next(words, None)
        elif word in _OF_THE_ROOT:
            return NONE_OF_THEM
        elif not word.startswith(f"{_WITH_VALUE}="):
            return MODULES.get(word)
    return None
