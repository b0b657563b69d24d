"""Each command is found where the table of commands says it lies, alone and among all others."""

from __future__ import annotations

import subprocess
import sys

import pytest

from uvdose.cli.app import run, tree
from uvdose.cli.tree import BY_TASK, MODULES, NONE_OF_THEM, module_of

from .conftest import environment


def test_the_table_names_every_command_once() -> None:
    assert set(tree().commands) == set(MODULES) and len(MODULES) == sum(map(len, BY_TASK.values()))
    for name, module in MODULES.items():
        alone, among = tree(module).commands[name], tree().commands[name]
        assert sorted(getattr(alone, "commands", {})) == sorted(getattr(among, "commands", {}))
        assert [p.opts for p in alone.params] == [p.opts for p in among.params]


def test_the_line_of_each_command_is_its_own() -> None:
    for name, (_, line) in ((n, told) for commands in BY_TASK.values() for n, told in commands.items()):
        assert tree().commands[name].get_short_help_str(80) == line


def test_the_list_of_commands_loads_none_of_them() -> None:
    code = (
        "import sys; from uvdose.cli.app import run; code = run(['--help']);"
        "found = [n for n in sys.modules if n.endswith(('cli.acts', 'cli.lookback', 'cli.now'))];"
        "sys.exit(code or ' '.join(found) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment(), timeout=30)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("\n") > len(MODULES)


@pytest.mark.parametrize(("words", "module"), [
    (["day", "2026-06-21"], "lookback"), (["--home", "day", "events"], "happened"), (["--home=x", "note"], "noting"),
    (["--help"], NONE_OF_THEM), (["--home", "x", "--version"], NONE_OF_THEM), ([], None), (["daze"], None),
    (["--home"], None),
])  # fmt: skip
def test_what_is_called(words: list[str], module: str | None) -> None:
    assert module_of(words) == module


def test_help_goes_by_task(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line[:-1] for line in lines if line[:-1] in BY_TASK] == list(BY_TASK)
    shown = [line.split()[0] for line in lines if line.startswith("  ") and line.split()[0] in MODULES]
    assert shown == list(MODULES) and max(map(len, lines)) <= 80
    near = [shown.index(name) for name in ("days", "day", "prints", "note", "suppose", "import", "export")]
    assert near == list(range(near[0], near[0] + len(near)))


def test_a_command_loads_no_other(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["prints", "--help"]) == 0 and "Usage: uvdose prints" in capsys.readouterr().out
    assert set(tree(MODULES["prints"]).commands) == {"prints"}
    assert run(["daze"]) == 2


@pytest.mark.parametrize("words", [["undo"], ["again"], ["move", "start"], ["shade", "--from", "5m"]])
def test_a_repair_wants_to_be_told_of_what(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(words) == 2
    assert "Missing argument" in capsys.readouterr().err
