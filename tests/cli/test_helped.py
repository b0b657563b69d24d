"""Help is in words: no types of a programming language, no doubled brackets, no summary that is cut."""

from __future__ import annotations

from typing import Any

import pytest

from uvdose.cli import app
from uvdose.cli.helped import worded


def _leaves(command: Any, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found = [path]
    for name, each in getattr(command, "commands", {}).items():
        found += _leaves(each, (*path, name))
    return found


PATHS = _leaves(app.tree())


def test_each_help_is_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert len(PATHS) > 60
    for path in PATHS:
        assert app.run([*path, "--help"]) == 0
        told = capsys.readouterr().out
        assert "Usage: uvdose" in told
        for odd in ("<str>", "<int>", "<float>", "<list", "[[", "......", "{ID...}", "<=x"):
            assert odd not in told, (path, odd, told)


def test_no_summary_is_cut(capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["--help"]) == 0
    listed = capsys.readouterr().out.partition("--help")[2]
    assert listed.count("\n") > 30 and "..." not in listed


def test_what_is_missing_is_still_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert app.run(["shade"]) == 2
    assert "the exposure's number" in capsys.readouterr().err


def test_a_group_alone_says_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    for group, name in (("lamp", "flicker"), ("target", "drift"), ("sensor", "level"), ("journal", "backup")):
        assert app.run([group]) == 2
        told = capsys.readouterr().err
        assert name in told and "say what to do: one of" in told and "Usage" not in told and told.count("\n") == 1
    assert app.run([]) == 2
    assert "`uvdose demo`" in capsys.readouterr().err


def test_a_tree_of_another_version_is_left_as_it_is() -> None:
    class Param:
        param_type_name, metavar = "option", None

    class Command:
        params = (Param(),)

    assert worded(Command()).params[0].__dict__ == {}
