"""Options and arguments that several commands share, and how they are checked."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .given import given_home

if TYPE_CHECKING:
    from ..asked import When
    from ..config import Home, MqttSettings

MAX_ID = 2**31 - 1
SHARED = ("--home", "--json")  # options of most commands, told once where all commands are told

# typer reads these at run time.
HomeDir = Annotated[
    str | None,
    typer.Option("--home", metavar="DIR", help="The home folder; else UVDOSE_HOME, else the user's data folder."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]
Looks = Annotated[
    list[float] | None,
    typer.Option("--look", metavar="FRACTION", help="Call for a look at this share of the target, as 0.7; repeat."),
]
NoLook = Annotated[bool, typer.Option("--no-look", help="No look calls.")]
Lead = Annotated[
    float | None,
    typer.Option("--lead", metavar="SECONDS", help="Call at least so many seconds before the target; 0: no such call."),
]
Overshoots = Annotated[
    list[float] | None,
    typer.Option("--overshoot", metavar="STOPS", help="Call again so many stops past the target, as 0.17; repeat."),
]
NoOvershoot = Annotated[bool, typer.Option("--no-overshoot", help="No calls past the target.")]
Ago = Annotated[
    str | None, typer.Option("--ago", metavar="TIME", help="It happened so long ago: 90 or 90s, 2m, 1:30 (m:ss) or 1h.")
]
At = Annotated[
    str | None, typer.Option("--at", metavar="HH:MM[:SS]", help="It happened at this time of day.")
]

LightIn = Annotated[
    str, typer.Option("--light-in", metavar="open|shade|window", help="Where it lies: under open sky, in shade, behind"
                                                                      " the glass of a window.")
]


def file_of(text: str) -> Path:
    """A file that a person named. Raises `Refusal` (code 2)."""
    try:
        return Path(text).expanduser().absolute()
    except RuntimeError:
        raise Refusal(f"{text}: there is no such user", 2) from None


def home_of(after_command: str | None, tell_zone: bool = True) -> Home:
    """The home folder that a command works on; its local times are those of the bench from here on.

    A time zone that cannot be meant keeps nobody from an act: the machine's is taken, and that is told.
    """
    from ..config import find_home
    from ..settings_bench import timezone_in
    from ..stamps import use_zone

    home = find_home(given_home(after_command))
    use_zone(None)
    try:
        use_zone(timezone_in(home.settings_file))
    except ValueError as err:
        if tell_zone:
            from .show import note

            note(f"{home.settings_file}: bench.timezone: {err}; times shown here are this machine's")
    return home


def file_to_write(text: str, home: Home, read: Path | None = None) -> Path:
    """A file that a person wants written. Raises `Refusal` for the journal and the settings of the home.

    read: a journal that is being read, whatever its name.
    """
    path = file_of(text)
    try:
        path.resolve()
    except (OSError, RuntimeError):
        raise Refusal(f"{path} is a link that leads back to itself: choose another name") from None
    journal = read or home.journal_file.resolve()
    for own in (*(journal.with_name(journal.name + end) for end in ("", "-wal", "-shm")), home.settings_file.resolve()):
        if path.resolve() == own:
            its_journal = "the journal itself" if read is None else "one of the journals"
            what = "the settings file" if own.name == home.settings_file.name else its_journal
            raise Refusal(f"{path} is {what}: choose another name")
    return path


def several(values: list[float] | None, none: bool, option: str) -> tuple[float, ...] | None:
    """Values of a repeated option; () for its `--no-` form, None when nothing was said. Raises `Refusal`."""
    if values and none:
        raise Refusal(f"--{option} and --no-{option} cannot both be meant; leave one out", 2)
    if none:
        return ()
    return tuple(values) if values else None


def whole_id(text: str, what: str = "exposure") -> int:
    """An id that a person typed. Raises `Refusal` (code 2)."""
    if not (text.isascii() and text.isdigit() and 0 < len(text) < 12 and 0 < int(text) <= MAX_ID):
        raise Refusal(f"{what} {text!r}: give its number, such as 12; `uvdose status` and `uvdose day` show it", 2)
    return int(text)


def moment(ago: str | None, at: str | None) -> When:
    """A moment in the past that a person typed; neither: now. Raises `Refusal` (code 2)."""
    from ..asked import When

    if ago is not None and at is not None:
        raise Refusal("--ago and --at cannot both be meant; leave one out", 2)
    return When(None if ago is None else seconds_of(ago), at)


def seconds_of(text: str) -> float:
    """A stretch of time that a person typed: 90, 90s, 2m, 1h or minutes:seconds. Raises `Refusal` (code 2)."""
    found = re.fullmatch(r"(\d{1,6}(?:\.\d+)?)\s*([smh]?)|(\d{1,4}):(\d{2})", text.strip())
    if found is None:
        raise Refusal(f"time {text!r}: give how long ago, such as 90s, 2m or 1:30", 2)
    if found[3] is not None:
        return int(found[3]) * 60.0 + int(found[4])
    return float(found[1]) * {"": 1, "s": 1, "m": 60, "h": 3600}[found[2]]


def stretch_of(option: str, text: str, bare: str = "", low_s: float = 1.0) -> float:
    """A stretch of time of an option, from low_s to 24 h, in seconds: 90s, 9min or 1:30. bare: what a number without
    a unit is in, `min` or nothing for seconds. Raises `Refusal` (code 2)."""
    said = text.strip()
    if re.fullmatch(r"\d+(\.\d+)?", said):
        said += bare
    try:
        seconds = seconds_of(re.sub(r"\s*min$", "m", said))
    except Refusal:
        seconds = -1.0
    if not low_s <= seconds <= 86_400:
        raise Refusal(f"--{option} {text!r}: give a time from {low_s:g} s to 24 h, such as 90s, 9min or 1:30", 2)
    return seconds


def finite(value: float, what: str, low: float, high: float, example: str) -> float:
    """A number in (low, high]. Raises `Refusal` (code 2) for anything else, NaN too."""
    if not (math.isfinite(value) and low < value <= high):
        raise Refusal(f"{what} {value:g}: give a number above {low:g} and up to {high:g}, such as {example}", 2)
    return value


def broker_of(text: str) -> MqttSettings:
    """A broker that a person named, without a login. Raises `Refusal` (code 2)."""
    from ..config import MqttSettings

    host, colon, number = text.rpartition(":")
    if not colon or "]" in number or (":" in host and not host.startswith("[")):
        host, number = text, "1883"
    host = host.strip("[]")
    if not host or not host.isprintable() or " " in host or not (number.isascii() and number.isdigit()):
        raise Refusal(f"--broker {text!r}: give a host, and a port if it is not 1883, such as 192.0.2.7:1883", 2)
    if not 1 <= int(number[:6]) <= 65535:
        raise Refusal(f"--broker {text!r}: {number[:20]} is no port; 1 to 65535, usually 1883", 2)
    return MqttSettings(host, int(number))
