"""Figures, units and tables as plain text, the same in every command and every review."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Collection, Sequence

from ..stamps import from_iso, local_moment, local_time
from ..units import PHYSICAL_DOSE

WIDTH, LEAST_WIDTH = 100, 40
MANY_MJ_CM2 = 10_000
LEAST_NAME = 4  # characters of a name that is cut
_FIGURE_AND_UNIT = re.compile(r"(?<=\d) (?=(?:%|s\b|stops?\b|[mµ]?[JWV]\b|counts\b))")
_DRAWN = re.compile("[\u2500-\u259f]")  # lines and blocks
_COMMAND = re.compile("`[^`]*`")
_HELD = "\u00a0"  # a blank at which no line is broken


def figure(value: float | None) -> str:
    """A dose or an irradiance with about four significant digits; `-` for None."""
    if value is None:
        return "-"
    size = abs(value)
    digits = 0 if size >= 1000 else 1 if size >= 100 else 2 if size >= 10 else 3
    return f"{value:.{digits}f}"


def unit_text(unit: str) -> str:
    """A unit as it is read: mJ/cm², counts·s."""
    return unit.replace("cm2", "cm²").replace("m2", "m²").replace(".s", "·s").replace("uW", "µW")


def with_unit(value: float | None, unit: str) -> str:
    """A figure and its unit."""
    return f"{figure(value)} {unit_text(unit)}"


def sum_and_unit(value: float, unit: str) -> tuple[str, str]:
    """The figure of a sum over a day or more, and its unit: mJ/cm² is J/cm² from 10,000 on."""
    if unit == PHYSICAL_DOSE and value >= MANY_MJ_CM2:
        return figure(value / 1000), "J/cm²"
    return figure(value), unit_text(unit)


def sum_with_unit(value: float, unit: str) -> str:
    """The same as one text."""
    return " ".join(sum_and_unit(value, unit))


def stops_text(stops: float | None) -> str:
    """A difference in stops with its sign; `-` for None."""
    return "-" if stops is None else f"{round(stops, 2) + 0.0:+.2f}"


def time_of(utc: str | None) -> str:
    """The local time of day of a document's UTC time; `-` for None."""
    return "-" if utc is None else local_time(from_iso(utc))


def moment_of(utc: str | None) -> str:
    """The local day and time of a document's UTC time; `-` for None."""
    return "-" if utc is None else local_moment(from_iso(utc))


def columns(rows: Sequence[Sequence[str]], right: Collection[int] = ()) -> list[str]:
    """Rows as lines with aligned columns, two spaces apart; columns in `right` end flush."""
    if not rows:
        return []
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        "  ".join(
            cell.rjust(width) if i in right else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def shorten(text: str, most: int) -> str:
    """Text cut to at most so many characters, with an ellipsis where something was cut."""
    return text if len(text) <= most else text[: most - 1] + "…"


def shorten_title(text: str, most: int) -> str:
    """The same for a target's name with its version, which stays where the name leaves room: `endpap… v12`."""
    name, blank, version = text.rpartition(" v")
    room = most - len(version) - len(blank)
    return f"{shorten(name, room)} v{version}" if version.isdigit() and room >= LEAST_NAME else shorten(text, most)


def screen_width() -> int:
    """Columns for sentences: those of a terminal that is narrower than WIDTH, else WIDTH, also in a file or a pipe."""
    return min(WIDTH, shutil.get_terminal_size().columns) if sys.stdout.isatty() else WIDTH


def wrap(text: str, indent: str = "", rest: str | None = None, width: int | None = None) -> list[str]:
    """Text in lines of at most `width` characters, else the screen's, broken at blanks; `rest` indents all lines but
    the first."""
    more = indent + "  " if rest is None else rest
    held = _FIGURE_AND_UNIT.sub(_HELD, text)
    most = max(LEAST_WIDTH, screen_width()) if width is None else width
    lines = textwrap.wrap(held, most, initial_indent=indent, subsequent_indent=more, break_on_hyphens=False)
    return [line.replace(_HELD, " ") for line in lines]


def fitted(text: str) -> str:
    """Text for a screen: at a terminal lines that are wider than it are broken at blanks, but for drawings; in a file
    or a pipe they stay whole."""
    if not sys.stdout.isatty():
        return text
    width = max(LEAST_WIDTH, shutil.get_terminal_size().columns)
    return "\n".join(part for line in text.split("\n") for part in _broken(line, width))


def _broken(line: str, width: int) -> list[str]:
    if len(line) <= width or _DRAWN.search(line):
        return [line]
    indent = " " * (len(line) - len(line.lstrip()))
    whole = _COMMAND.sub(lambda found: found[0].replace(" ", _HELD), line.lstrip())  # as it is to be copied
    held = _FIGURE_AND_UNIT.sub(_HELD, whole)
    lines = textwrap.wrap(held, width, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False,
                          break_long_words=False)  # fmt: skip
    return [part.replace(_HELD, " ") for part in lines]


def alarm_words(alarm: str) -> str:
    """An alarm's key as a word for a person."""
    return _ALARMS.get(alarm, alarm)


_ALARMS = {
    "silent": "SENSOR SILENT",
    "unreadable": "LINES NOT UNDERSTOOD",
    "noisy": "VALUE JUMPS ABOUT",
    "negative": "VALUE BELOW ZERO",
    "no-light": "NO LIGHT AT ALL",
    "leapt": "REGISTER LEAPT",
    "out-of-range": "MORE LIGHT THAN THERE IS",
    "backlog": "READINGS COME LATE",
    "restarted": "SENSOR WAS OFF",
    "changed": "SENSOR CHANGED",
    "link": "NO LINK TO THE SENSOR",
    "saturated": "SENSOR AT FULL SCALE",
    "frozen": "SENSOR FROZEN",
    "gap": "LIGHT NOT MEASURED",
    "slow": "READINGS TOO SELDOM",
    "chosen": "CHOSEN AMONG NUMBERS",
}
