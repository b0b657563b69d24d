"""The README shows commands that exist, and settings and recordings that can be read."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
from pathlib import Path
from typing import Any

import pytest

from uvdose.cli.app import tree
from uvdose.config import parse_settings
from uvdose.decode.formats import FORMATS
from uvdose.intake.recording import parse_line

from .conftest import ROOT, argv, environment

README = (ROOT / "README.md").read_text(encoding="utf-8")
SETTINGS = sorted((ROOT / "shared" / "settings").glob("*.toml"))
BLOCKS = re.findall(r"```(\w*)\n(.*?)```", README, re.S)


def _calls(text: str) -> list[str]:
    """Every call of uvdose in fenced lines that begin with `$`."""
    return [line.removeprefix("$ ") for line in text.splitlines() if line.startswith("$ uvdose")]


def _check(call: str) -> None:
    words = shlex.split(call, comments=True)[1:]
    command: Any = tree()
    while hasattr(command, "commands") and words and not words[0].startswith("-"):
        name = words.pop(0)
        assert name in command.commands, f"no command {name!r} in {call!r}"
        command = command.commands[name]
    known = {option for p in command.params for option in (*p.opts, *p.secondary_opts)} | {"--help"}
    for word in words:
        if word.startswith("--"):
            assert word.partition("=")[0] in known, f"no option {word} in {call!r}"


def test_every_command_of_the_readme_exists() -> None:
    calls = [call for _, block in BLOCKS for call in _calls(block)]
    assert len(calls) >= 8
    for call in calls:
        _check(call)
    with pytest.raises(AssertionError):
        _check("uvdose expose blue --no-such-option")
    with pytest.raises(AssertionError):
        _check("uvdose target remove blue")


def test_every_command_is_in_the_readmes_table() -> None:
    command: Any = tree()
    for name in command.commands:
        assert f"`uvdose {name}" in README, name


def test_the_settings_of_the_readme_and_the_samples_are_read() -> None:
    shown = [block for kind, block in BLOCKS if kind == "toml"]
    assert len(shown) >= 3
    for block in shown:
        parse_settings(block, "README.md")
    assert len(SETTINGS) >= 4
    for path in SETTINGS:
        parse_settings(path.read_text(encoding="utf-8"), path.name)


@pytest.mark.parametrize("path", sorted((ROOT / "shared" / "recordings").iterdir()), ids=lambda p: p.name)
def test_recordings_are_readable_rise_and_say_what_they_are(path: Path) -> None:
    raw = path.read_bytes().splitlines(keepends=True)
    assert raw[0].startswith(b"# Invented, not measured")
    rows = [row for line in raw if (row := parse_line(line)) is not None]
    times = [t for t, _ in rows]
    assert len(rows) > 500 and times == sorted(times) and times[0] < 1_000_000


@pytest.mark.parametrize("command", sorted(set(re.findall(r"^\| `uvdose ([a-z]+)", README, re.M))))
def test_every_command_of_the_readme_is_there(command: str) -> None:
    done = subprocess.run(argv(command, "--help"), capture_output=True, text=True, timeout=30, env=environment())
    assert done.returncode == 0 and done.stdout, done.stderr


def test_every_format_is_told_by_its_command() -> None:
    done = subprocess.run(argv("sensor", "formats"), capture_output=True, text=True, timeout=30, env=environment())
    told = json.loads(
        subprocess.run(
            argv("sensor", "formats", "--json"), capture_output=True, text=True, timeout=30, env=environment()
        ).stdout
    )["formats"]
    assert done.returncode == 0 and [one["format"] for one in told] == [one.name for one in FORMATS]
    for one in FORMATS:
        assert f"{one.name}: {one.about}" in done.stdout and one.example in done.stdout
        assert parse_settings(
            f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "x"\nformat = "{one.name}"\nfield = "/uv"\n', "x"
        )
