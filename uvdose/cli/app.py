"""The tree of commands, and the one place where errors become a line and an exit code."""

from __future__ import annotations

import contextlib
import os
import sys
from functools import cache
from importlib import import_module
from typing import Any

import typer

from .. import __version__
from ..model import Refusal
from .given import hinted, one_line, remember_home
from .helped import worded
from .options import HomeDir
from .tree import MODULES, NONE_OF_THEM, ByTask, module_of
from .usage import usage_words

DONE, FAILED, WRONG, REFUSED, INTERRUPTED = 0, 1, 2, 4, 130

SHOWN = 80  # of a file's name in an error

# The common base of typer's own errors of usage. It is found this way because typer carries its own copy of the
# library below it in newer versions and uses the separate one in older versions.
_UsageError: type[Exception] = typer.BadParameter.__mro__[1]


def _version(asked: bool) -> None:
    if asked:
        print(f"uvdose {__version__}")
        raise typer.Exit


def _root(
    home: HomeDir = None,
    version: bool = typer.Option(False, "--version", callback=_version, is_eager=True, help="Print the version."),
) -> None:
    remember_home(home)


@cache
def tree(module: str | None = None) -> Any:
    """The commands of one module, of `NONE_OF_THEM`, or all: to build all takes longer than most commands do."""
    app = typer.Typer(
        name="uvdose",
        cls=ByTask,
        help="Adds up the ultraviolet that a print in the frame receives, and calls when it is enough.",
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        no_args_is_help=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_root)
    for name in dict.fromkeys(MODULES.values()) if module is None else [module] if module != NONE_OF_THEM else []:
        import_module(f".{name}", __package__).register(app)
    return worded(typer.main.get_command(app))


def run(arguments: list[str]) -> int:
    """Run one command; returns the exit code. An error is one line on standard error, never a traceback."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by the caller, who wants nothing told
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        command = tree(module_of(arguments))
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
        _drop_output()  # the reader has what it wanted
        return DONE
    except OSError as err:
        return _fail(_file_fault(err), REFUSED)
    except UnicodeEncodeError as err:
        if broken := [a for a in arguments if not _is_text(a)]:
            return _fail(f"{broken[0]!r} is no text: its bytes are not UTF-8; type it again", WRONG)
        return _unforeseen(err)
    except _UsageError as err:
        return _fail(usage_words(err, arguments), WRONG)
    except Exception as err:
        return _unforeseen(err)


def _unforeseen(err: Exception) -> int:
    if os.environ.get("UVDOSE_DEBUG"):
        raise err
    text = f"{type(err).__name__}: {err}" if str(err) else type(err).__name__
    return _fail(f"this should not happen: {text} (UVDOSE_DEBUG=1 shows where)", FAILED)


def _file_fault(err: OSError) -> str:
    """A file, or the output, that cannot be used as one; the common faults have their own words where they occur."""
    if err.filename is not None:
        name = os.fsdecode(err.filename) if isinstance(err.filename, str | bytes) else str(err.filename)
        return f"{name if len(name) <= SHOWN else f'{name[:SHOWN]}…'}: {err.strerror}; give another file or folder"
    _drop_output()
    return f"the output cannot be written: {err.strerror or err}; what you asked may be done all the same"


def _drop_output() -> None:
    """What is still buffered must not raise again when Python ends."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _is_text(argument: str) -> bool:
    try:
        argument.encode()
    except UnicodeEncodeError:
        return False
    return True


def _fail(line: str, code: int) -> int:
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    with contextlib.suppress(OSError, ValueError):
        print(f"uvdose: {hinted(one_line(line))}", file=sys.stderr, flush=True)
    return code
