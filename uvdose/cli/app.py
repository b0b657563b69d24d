"""The tree of commands, and the one place where errors become a line and an exit code."""

from __future__ import annotations

import contextlib
import os
import sys

import typer

from .. import __version__
from ..model import Refusal
from . import (
    acts,
    demo,
    editions,
    films,
    happened,
    journal,
    lookback,
    mend,
    now,
    serving,
    strip,
    tablet,
    targets,
    verdict,
)
from .options import HomeDir, hinted, remember_home

DONE, FAILED, WRONG, INTERRUPTED = 0, 1, 2, 130

# The common base of typer's own errors of usage. It is found this way because typer carries its own copy of the
# library below it in newer versions and uses the separate one in older versions.
_UsageError: type[Exception] = typer.BadParameter.__mro__[1]

app = typer.Typer(
    name="uvdose",
    help="Adds up the ultraviolet that a print in the frame receives, and calls when it is enough.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=False,
)


def _version(asked: bool) -> None:
    if asked:
        print(f"uvdose {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    home: HomeDir = None,
    version: bool = typer.Option(False, "--version", callback=_version, is_eager=True, help="Print the version."),
) -> None:
    remember_home(home)


for group in (
    serving, targets, strip, tablet, films, verdict, editions, acts, mend, now, happened, lookback, journal, demo,
):
    group.register(app)


def run(arguments: list[str]) -> int:
    """Run one command; returns the exit code. An error is one line on standard error, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        command = typer.main.get_command(app)
        with command.make_context("uvdose", list(arguments)) as context:
            command.invoke(context)
        sys.stdout.flush()
        return DONE
    except Refusal as err:
        return _fail(err.line, err.code)
    except typer.Exit as err:
        return err.exit_code
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    except BrokenPipeError:
        # The reader has what it wanted. What is still buffered must not raise again when Python ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except _UsageError as err:
        return _fail(_usage(err), WRONG)
    except Exception as err:
        if os.environ.get("UVDOSE_DEBUG"):
            raise
        text = f"{type(err).__name__}: {err}" if str(err) else type(err).__name__
        return _fail(f"this should not happen: {text} (UVDOSE_DEBUG=1 shows where)", FAILED)


def _fail(line: str, code: int) -> int:
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    with contextlib.suppress(OSError, ValueError):
        print(f"uvdose: {hinted(' '.join(line.split()))}", file=sys.stderr, flush=True)
    return code


def _usage(err: Exception) -> str:
    told = getattr(err, "format_message", lambda: str(err))()
    context = getattr(err, "ctx", None)
    path = context.command_path if context is not None else "uvdose"
    return f"{' '.join(str(told).split()).rstrip('.')}; see `{path} --help`"
