"""The README shows commands that exist, and settings and recordings that can be read."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from support.calls import check_call, check_names

from uvdose.cli.app import run, tree
from uvdose.config import parse_settings
from uvdose.decode.formats import FORMATS
from uvdose.intake.recording import parse_line

from .conftest import ROOT, argv, environment

README = (ROOT / "README.md").read_text(encoding="utf-8")
SETTINGS = sorted((ROOT / "shared" / "settings").glob("*.toml"))
BLOCKS = re.findall(r"```(\w*)\n(.*?)```", README, re.S)


PAGES = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for path in (ROOT / "README.md", ROOT / "shared" / "export_schema.md", *(ROOT / "firmware_notes").rglob("*.md"))
}


def _shown(text: str) -> list[str]:
    """Every call of uvdose that stands in a fenced block, to be typed as it is."""
    blocks = re.findall(r"```(\w*)\n(.*?)```", text, re.S)
    lines = [line.strip() for kind, block in blocks for line in block.splitlines() if kind in ("", "console", "sh")]
    found = [re.search(r"(?:^|&& |\$ )(?:\S*/)?(uvdose .*)", line) for line in lines if not line.startswith("#")]
    return [re.split(r" [>|] ", match[1])[0] for match in found if match is not None]


def _mentioned(text: str) -> list[str]:
    """Every call of uvdose in backticks, within a sentence or a table."""
    text = re.sub(r"```.*?```", "", text, flags=re.S)
    return re.findall(r"`(uvdose(?: [^`]*)?)`", text.replace("\\|", "|"))


def test_every_call_that_is_shown_is_taken() -> None:
    calls = [call for text in PAGES.values() for call in _shown(text)]
    assert len(calls) >= 25
    for call in calls:
        check_call(call)
    for wrong in ("uvdose expose blue --no-such-option", "uvdose target remove blue", "uvdose day 2026-06-21 more",
                  "uvdose expose blue --count-in three", "uvdose undo"):  # fmt: skip
        with pytest.raises(AssertionError):
            check_call(wrong)


def test_every_call_that_is_mentioned_exists() -> None:
    calls = [call for text in PAGES.values() for call in _mentioned(text)]
    assert len(calls) >= 130 and any("firmware_notes" in page and _mentioned(text) for page, text in PAGES.items())
    for call in calls:
        check_names(call)
    with pytest.raises(AssertionError):
        check_names("uvdose strip begin NUMBER")


def test_every_option_that_is_mentioned_exists() -> None:
    """Also where its command stands elsewhere in the sentence."""
    known = {"--help", "--version"}
    waiting: list[Any] = [tree()]
    while waiting:
        command = waiting.pop()
        known |= {option for p in command.params for option in (*p.opts, *p.secondary_opts)}
        waiting += getattr(command, "commands", {}).values()
    for page, text in PAGES.items():
        prose = re.sub(r"```.*?```", "", text, flags=re.S)
        for told in re.findall(r"`([^`]*--[^`]*)`", prose):
            for option in re.findall(r"(?<![\w-])--[a-z][a-z-]*", told):
                assert option in known, (page, option, told)


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
def test_every_command_of_the_readme_is_there(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    code = run([command, "--help"])
    done = capsys.readouterr()
    assert code == 0 and done.out, done.err


def test_a_process_of_its_own_tells_what_a_command_does() -> None:
    done = subprocess.run(argv("expose", "--help"), capture_output=True, text=True, timeout=30, env=environment())
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
