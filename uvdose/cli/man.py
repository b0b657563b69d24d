"""`uvdose man`: the manual page of all commands, made of the same tree as their help."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from typing import Any

import typer

from .. import __version__
from ..model import Refusal
from .options import SHARED
from .tree import BY_TASK

ABOUT = """\
uvdose is for people who make contact prints on paper they coat by hand, in the sun or under a lamp. It reads a UV
sensor that lies beside the frame, adds up its light, keeps doses as versioned targets, calls at the look, shortly
before the target and at the target, and keeps every reading, so that any dose can be counted again.

`uvdose serve` is the daemon: it reads the sensors and counts. The other commands ask it, or read the journal beside
it. Both work on one home, a folder. `uvdose demo` shows the whole job without any device.

This page lists the commands by task. `uvdose COMMAND --help` says the same of one."""

EXITS = (
    ("0", "Done."),
    ("1", "Something failed that should not, such as a recount that differs."),
    ("2", "The call is wrong."),
    ("3", "No daemon runs for this home."),
    ("4", "Refused; the line on standard error says why, and what to do."),
    ("130", "Interrupted by Ctrl-C."),
)
VARIABLES = (
    ("UVDOSE_HOME", "The home folder, where --home names none."),
    ("UVDOSE_DEBUG", "Where it is set, an error that should not happen shows where it happened."),
    ("NO_COLOR", "Where it is set, nothing is coloured."),
    ("TZ", "The zone of the times shown, where the settings name none for the bench."),
)
FILES = (
    ("uvdose.toml", "The settings: bench, sensors, ways to be called. `uvdose sensor find --write` begins it."),
    ("journal.sqlite3", "Everything that was recorded. Copy it with `uvdose journal backup`."),
    ("pictures/", "The pictures of prints."),
    ("phones.json", "The paired phones."),
    ("tls/", "What `uvdose phone ca` made."),
    ("runtime.json, uvdose.lock", "The running daemon's address and token, and its lock."),
)
EXAMPLES = (
    ("Everything once, on a simulated bench:", ("uvdose demo",)),
    ("A small bindery (an invented one) finds its sensor, takes its zero in the dark, and leaves the daemon running:",
     ("export UVDOSE_HOME=~/print", "uvdose sensor find --write", "uvdose serve", "uvdose sensor zero sill")),
    ("A test strip around a guess gives the dose of its endpapers:",
     ("uvdose strip plan --around 2400 --count 5 --process 'iron blue'", "uvdose strip run 1",
      "uvdose strip read 1 --right 3", "uvdose strip accept 1 --name endpapers")),
    ("It prints one, looks under the back, and takes it in at the call:",
     ("uvdose expose endpapers --label fern --count-in 3", "uvdose hold", "uvdose resume", "uvdose finish")),
    ("When it is dry:", ("uvdose day", "uvdose verdict 1 --tone dark --stops 0.25")),
)
CAUTION = """\
uvdose counts light; it makes nothing safe. Ultraviolet burns skin and eyes, and the chemicals of these processes are
poisonous or worse. Where it and a maker's data sheet, your local codes or a licensed practitioner differ, they are
right."""


def man() -> None:
    """The manual page: print it, for `uvdose man | man -l -`."""
    if sys.stdout.isatty():
        raise Refusal("this is a manual page's source: read it with `uvdose man | man -l -`, or keep it in a file with"
                      " `uvdose man > uvdose.1`", 2)  # fmt: skip
    from .app import tree

    sys.stdout.write(page(tree()))


def page(root: Any) -> str:
    """The page in roff (man macros). root: the tree of commands. The same tree gives the same bytes."""
    return "\n".join(_lines(root)) + "\n"


def _lines(root: Any) -> Iterator[str]:
    yield f'.TH UVDOSE 1 "" "uvdose {plain(__version__)}" "User Commands"'
    yield from (".SH NAME", f"uvdose \\- {plain(_first_small(root.help))}")
    yield from (".SH SYNOPSIS", ".B uvdose", "[\\fB\\-\\-home\\fR \\fIDIR\\fR]", "\\fICOMMAND\\fR ...")
    yield ".SH DESCRIPTION"
    yield from _paragraphs(ABOUT)
    yield ".SH OPTIONS"
    yield from (".SS Of uvdose itself", *_records(root, ()))
    yield ".SS Of most commands"
    yield from _entry("\\fB\\-\\-json\\fR", "Print JSON, for programs.")
    yield from _entry("\\fB\\-\\-home\\fR \\fIDIR\\fR", "The same after the command.")
    yield from _entry("\\fB\\-h\\fR, \\fB\\-\\-help\\fR", "Say what the command does, and its options.")
    yield ".SH COMMANDS"
    for task, names in BY_TASK.items():
        yield f".SS {plain(task)}"
        for name in names:
            yield from _command(root.commands[name], f"uvdose {name}")
    for title, rows in (("EXIT STATUS", EXITS), ("ENVIRONMENT", VARIABLES)):
        yield f".SH {title}"
        for word, told in rows:
            yield from _entry(f"\\fB{plain(word)}\\fR", told)
    yield ".SH FILES"
    yield from _paragraphs("All of it lies in the home: the folder that --home names, else UVDOSE_HOME, else the user's"
                           " data folder.")  # fmt: skip
    for word, told in FILES:
        yield from _entry(f"\\fI{plain(word)}\\fR", told)
    yield ".SH EXAMPLES"
    for told, calls in EXAMPLES:
        yield from (*_paragraphs(told), ".RS 4", ".nf", *map(plain, calls), ".fi", ".RE")
    yield ".SH CAUTIONS"
    yield from _paragraphs(CAUTION)


def _command(command: Any, path: str) -> Iterator[str]:
    """One command with its options; of a group, each of its own."""
    below = getattr(command, "commands", None)
    if below is not None:
        for name, each in below.items():
            yield from _command(each, f"{path} {name}")
        return
    context = command.context_class(command, info_name=path)
    pieces = [piece for piece in command.collect_usage_pieces(context) if piece != command.options_metavar]
    call = [f"\\fB{plain(path)}\\fR", *(f"\\fI{plain(piece.strip('{}'))}\\fR" for piece in pieces)]
    yield from (".TP", " ".join(call))
    paragraphs = (command.help or "").split("\n\n")
    yield from (text(" ".join(paragraphs[0].split())),)
    for more in paragraphs[1:]:
        yield from (".IP", text(" ".join(more.split())))
    records = list(_records(command, SHARED))
    if records:
        yield from (".RS", *records, ".RE")


def _records(command: Any, left_out: tuple[str, ...]) -> Iterator[str]:
    """The arguments and options that say something of their own, as the help has them."""
    context = command.context_class(command, info_name="uvdose")
    for param in command.get_params(context):
        record = param.get_help_record(context)
        if record is None or not record[1] or set(param.opts) & {*left_out, "--help"}:
            continue
        style = "\\fI" if param.param_type_name == "argument" else "\\fB"
        yield from _entry(f"{style}{plain(record[0])}\\fR", record[1])


def _entry(word: str, told: str) -> Iterator[str]:
    yield from (".TP", word, text(" ".join(told.split())))


def _paragraphs(told: str) -> Iterator[str]:
    for paragraph in told.split("\n\n"):
        yield from (".PP", text(" ".join(paragraph.split())))


def text(told: str) -> str:
    """A line of text; what stands in backticks is bold."""
    pieces = re.split("`([^`]*)`", told)
    return _guarded("".join(f"\\fB{plain(p)}\\fR" if i % 2 else plain(p) for i, p in enumerate(pieces)))


def plain(told: str) -> str:
    """Characters that mean something to roff, or lie outside of ASCII, by their names."""
    told = told.replace("\\", "\\e").replace("-", "\\-").replace("'", "\\(aq").replace("`", "\\(ga")
    told = told.replace("^", "\\(ha").replace("~", "\\(ti").replace('"', "\\(dq")
    return _guarded(re.sub(r"[^\x00-\x7f]", lambda found: f"\\[u{ord(found[0]):04X}]", told))


def _guarded(line: str) -> str:
    return f"\\&{line}" if line.startswith(".") else line


def _first_small(told: str) -> str:
    first = " ".join(told.split()).rstrip(".")
    return first[:1].lower() + first[1:]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("man")(man)
