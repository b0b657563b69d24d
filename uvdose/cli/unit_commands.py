"""`uvdose service`: the daemon as a service of the user's own systemd."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, home_of
from .unit import NAME, NAMES, unit_file, unit_text

ANSWER_S = 60.0
SHOWN = ("LoadState", "ActiveState", "SubState", "UnitFileState", "MainPID", "NRestarts", "Result", "StatusText")

service = typer.Typer(no_args_is_help=False, help="The daemon as a service that starts by itself.",
                      rich_markup_mode=None)  # fmt: skip

Name = Annotated[str, typer.Option(metavar="NAME", help="The unit's name; needed for the services of several homes.")]
User = Annotated[bool, typer.Option("--user", help="The user's own service, which is the only kind.")]


@service.command()
def install(
    name: Name = NAME,
    user: User = True,
    force: Annotated[bool, typer.Option("--force", help="Replace a unit of this name that is another.")] = False,
    home: HomeDir = None,
) -> None:
    """Write the unit, start it now and at every login; `loginctl enable-linger` starts it at boot."""
    from ..config import load_settings
    from .asking import find_daemon
    from .show import say

    place, path = home_of(home), _file(name)
    load_settings(place)
    text = unit_text(place.folder, name)
    there = path.read_text(encoding="utf-8", errors="replace") if path.exists() else None
    if there not in (None, text) and not force:
        raise Refusal(f"{path} is there already, and is another: give --name, or --force to replace it")
    if there is None and find_daemon(place) is not None:
        raise Refusal(f"a daemon runs for home {place.folder} already: end it first, then install the service")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    say(f"written: {path}")
    _systemctl("daemon-reload")
    _systemctl("enable", path.name)
    _systemctl("restart", path.name)
    say(f"{path.name} runs, and starts at every login; `loginctl enable-linger` lets it start at boot without one")
    say(f"its log: `journalctl --user -u {path.name}`")


@service.command()
def uninstall(name: Name = NAME, user: User = True) -> None:
    """Stop the service and take its unit away; home and journal stay."""
    from .show import say

    path = _installed(name)
    _systemctl("disable", "--now", path.name)
    path.unlink(missing_ok=True)
    _systemctl("daemon-reload")
    say(f"{path.name} is stopped and taken away; the home and its journal stay")


@service.command()
def status(name: Name = NAME, user: User = True, as_json: Json = False) -> None:
    """Whether the service is installed, and runs."""
    from .show import print_json, say

    path = _installed(name)
    told = dict(
        line.split("=", 1)
        for line in _systemctl("show", path.name, "-p", ",".join(SHOWN)).splitlines()
        if "=" in line
    )
    if as_json:
        print_json({"unit": str(path)} | told)
        return
    state = f"{told.get('ActiveState', 'unknown')} ({told.get('SubState', '')}), {told.get('UnitFileState', '')}"
    say(f"{path.name}  {state}  {told.get('StatusText', '')}".rstrip())
    if told.get("ActiveState") != "active":
        say(f"why: `journalctl --user -u {path.name} -n 20`; last result: {told.get('Result', 'unknown')}")
    elif told.get("NRestarts", "0") not in ("", "0"):
        say(f"it was started again {told['NRestarts']} times: `journalctl --user -u {path.name}` says why")


@service.command()
def show(name: Name = NAME, user: User = True, home: HomeDir = None) -> None:
    """Print the unit that `install` would write."""
    _file(name)
    print(unit_text(home_of(home).folder, name), end="", flush=True)


def _installed(name: str) -> Path:
    path = _file(name)
    if not path.exists():
        raise Refusal(f"no service {path.name} is installed: `uvdose service install` does it")
    return path


def _file(name: str) -> Path:
    if not NAMES.fullmatch(name):
        raise Refusal(f"--name {name!r} is no name of a unit; use letters, digits, . _ -", 2)
    return unit_file(name)


def _systemctl(*words: str) -> str:
    """What `systemctl --user` says. Raises `Refusal`."""
    try:
        done = subprocess.run(
            ["systemctl", "--user", *words], capture_output=True, text=True, errors="replace", timeout=ANSWER_S,
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
    except OSError:
        line = "systemctl is not there, and without systemd there is no service; `uvdose serve` runs without"
        raise Refusal(line) from None
    except subprocess.TimeoutExpired:
        raise Refusal(f"`systemctl --user {words[0]}` did not end within {ANSWER_S:g} s; look at the machine") from None
    if done.returncode:
        said = done.stderr.strip().splitlines()
        raise Refusal(f"`systemctl --user {' '.join(words)}` failed: {said[0] if said else done.returncode}")
    return done.stdout


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(service, name="service")
