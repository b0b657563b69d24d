"""The manual page: all commands and options, roff that is set without a warning, the same bytes each time."""

from __future__ import annotations

import re
import subprocess
from typing import Any

import pytest
from support.calls import check_call
from support.needs import program

from uvdose import __version__
from uvdose.cli import app
from uvdose.cli.man import EXAMPLES, page, plain, text
from uvdose.cli.options import SHARED

from .conftest import ROOT, argv, environment

PAGE = page(app.tree())
KEPT = ROOT / "shared" / "man" / "uvdose.1"
# What the page is made of; man(7) of groff has them all.
MACROS = {".TH", ".SH", ".SS", ".TP", ".PP", ".IP", ".B", ".RS", ".RE", ".nf", ".fi"}


def _leaves(command: Any, path: str = "uvdose") -> list[tuple[str, Any]]:
    below = getattr(command, "commands", {})
    return [leaf for name, each in below.items() for leaf in _leaves(each, f"{path} {name}")] or [(path, command)]


def test_the_page_that_is_shipped_is_the_commands_own() -> None:
    """Write it anew when commands change: `uvdose man > shared/man/uvdose.1`."""
    assert KEPT.read_text(encoding="utf-8") == PAGE
    assert PAGE.startswith(f'.TH UVDOSE 1 "" "uvdose {__version__}"')


def test_it_is_the_same_each_time() -> None:
    for seed in ("1", "2"):
        done = subprocess.run(argv("man"), capture_output=True, timeout=30, check=True,
                              env=environment(PYTHONHASHSEED=seed, COLUMNS=f"{seed}00"))  # fmt: skip
        assert done.stdout == PAGE.encode() and done.stderr == b""


def test_it_has_every_command_and_option() -> None:
    leaves = _leaves(app.tree())
    assert len(leaves) > 80
    for path, command in leaves:
        heading = f"\n.TP\n\\fB{plain(path)}\\fR"
        assert PAGE.count(heading) == 1, path
        own = PAGE.partition(heading)[2]
        own = re.split(r"\n\.TP\n\\fBuvdose |\n\.S[HS] ", own)[0]
        for param in command.params:
            if param.param_type_name == "option" and not param.hidden and not set(param.opts) & set(SHARED):
                assert all(plain(name) in own for name in param.opts), (path, param.opts)
    for section in ("EXIT STATUS", "FILES", "ENVIRONMENT", "EXAMPLES", "CAUTIONS"):
        assert f"\n.SH {section}\n" in PAGE
    assert "UVDOSE_HOME" in PAGE.partition(".SH ENVIRONMENT")[2]


def test_its_form_is_that_of_a_manual_page() -> None:
    assert PAGE.isascii() and PAGE.endswith("\n") and "\n\n" not in PAGE
    for line in PAGE.splitlines():
        if line.startswith("."):
            assert line.split()[0] in MACROS, line
        assert not line.startswith("'") and line == line.rstrip(), line
        assert re.sub(r"\\(f[BIR]|[e&-]|\([a-z]{2}|\[u[0-9A-F]{4}\])", "", line).count("\\") == 0, line
        assert line.count("\\fB") + line.count("\\fI") == line.count("\\fR"), line
    assert PAGE.count("\n.RS") == PAGE.count("\n.RE") and PAGE.count("\n.nf") == PAGE.count("\n.fi")


def test_it_is_set_without_a_warning() -> None:
    done = subprocess.run([program("groff"), "-man", "-ww", "-Tutf8"], input=PAGE, capture_output=True, text=True,
                          timeout=60, check=True, encoding="utf-8")  # fmt: skip
    assert done.stderr == "" and "uvdose target set NAME" in re.sub(".\b", "", done.stdout)
    wrong = subprocess.run([program("groff"), "-man", "-ww", "-Tutf8"], input=f"{PAGE}.no_such\n", capture_output=True,
                           text=True, timeout=60, check=False, encoding="utf-8")  # fmt: skip
    assert "no_such" in wrong.stderr


def test_what_means_something_to_roff_is_only_shown() -> None:
    assert text("`a-b` \\ it's ~ ^ µ") == "\\fBa\\-b\\fR \\e it\\(aqs \\(ti \\(ha \\[u00B5]"
    assert text(".5 of it") == "\\&.5 of it" and text("one ` alone") == "one \\(ga alone"


def test_its_examples_can_be_typed() -> None:
    calls = [call for _, calls in EXAMPLES for call in calls if call.startswith("uvdose ")]
    assert len(calls) > 10
    for call in calls:
        check_call(call)


def test_on_a_screen_it_says_how_to_read_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert app.run(["man"]) == 2
    told = capsys.readouterr()
    assert told.out == "" and "`uvdose man | man -l -`" in told.err and told.err.count("\n") == 1
