"""Names that are too long or no text, and pipes and devices in place of files: one line each, and nothing harmed."""

from __future__ import annotations

import os
import stat
import subprocess
from pathlib import Path

import pytest

from .conftest import SIMULATED, Homed, argv, environment

WRONG, NO_DAEMON, REFUSED = 2, 3, 4
LONG = "x" * 300
DEEP = "/" + "x/" * 3000 + "x"
NO_TEXT = "a\udcffb"


@pytest.fixture
def full(home: Homed) -> Homed:
    home.write(SIMULATED)
    assert home.call("target", "set", "t", "--dose", "100").code == 0
    return home


def _run(home: Homed, *words: object, **more: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        argv("--home", home.folder, *words), env=environment(), text=True, timeout=60, check=False,
        stderr=subprocess.PIPE, **more,  # type: ignore[call-overload]
    )


@pytest.mark.parametrize("name", [LONG, DEEP], ids=["long", "deep"])
def test_a_name_that_is_too_long(full: Homed, tmp_path: Path, name: str) -> None:
    place = name if name.startswith("/") else str(tmp_path / name)
    for words in (("status",), ("serve",), ("target", "list"), ("target", "set", "t", "--dose", "1"), ("day",)):
        Homed(Path(place)).call(*words).refused(REFUSED, "too long")
    for more in (("export", "--out", place), ("journal", "backup", place), ("journal", "check", place)):
        full.call(*more).refused(REFUSED, "too long")
    Homed(Path(place)).run("serve").refused(REFUSED, "too long")
    full.run("journal", "check", place).refused(REFUSED, "too long")


@pytest.mark.parametrize("words", [
    ("target", "set", NO_TEXT, "--dose", "1"), ("target", "show", NO_TEXT), ("day", NO_TEXT), ("hold", NO_TEXT),
    ("export", "--what", NO_TEXT), ("target", "set", "t", "--dose", "1", "--paper", NO_TEXT),
], ids=" ".join)  # fmt: skip
def test_what_is_no_text(full: Homed, words: tuple[str, ...]) -> None:
    full.run(*words).refused(WRONG)


def test_what_is_no_text_to_a_daemon(daemon) -> None:
    daemon.wait_live()
    daemon.run("expose", NO_TEXT).refused(WRONG, "no text")


def test_pipes_and_devices_in_place_of_files(full: Homed, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    full.run("export", "--out", pipe).refused(REFUSED, "nobody reads that pipe")
    full.run("export", "--out", "/dev/full").refused(REFUSED, "/dev/full cannot be written", "No space left")
    full.run("journal", "check", pipe).refused(REFUSED, "no ordinary file")
    full.run("journal", "backup", pipe, "--force").refused(REFUSED, "no ordinary file")
    assert stat.S_ISFIFO(pipe.stat().st_mode), "it is still there"


@pytest.mark.parametrize(("name", "words", "code", "told"), [
    ("uvdose.toml", ("serve",), REFUSED, "no ordinary file"),
    ("uvdose.toml", ("target", "set", "t", "--dose", "1"), REFUSED, "no ordinary file"),
    ("journal.sqlite3", ("serve",), REFUSED, "no ordinary file"),
    ("journal.sqlite3", ("day",), REFUSED, "no ordinary file"),
    ("runtime.json", ("status",), NO_DAEMON, "no daemon"),
])  # fmt: skip
@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_pipes_and_devices_in_the_home(
    home: Homed, name: str, words: tuple[str, ...], code: int, told: str, kind: str
) -> None:
    home.write(SIMULATED)
    odd = home.folder / name
    odd.unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(odd)
    else:
        odd.symlink_to("/dev/zero")
    home.run(*words).refused(code, told)


@pytest.mark.parametrize("words", [("target", "list"), ("target", "list", "--json"), ("export",), ("--help",)], ids=str)
def test_an_output_without_room(full: Homed, words: tuple[str, ...]) -> None:
    with open("/dev/full", "w") as out:
        ran = _run(full, *words, stdout=out)
    assert ran.returncode == REFUSED, ran
    assert ran.stderr.splitlines() == [
        "uvdose: the output cannot be written: No space left on device; what you asked may be done all the same"
    ]


def test_an_output_that_is_closed(full: Homed) -> None:
    ran = subprocess.run(
        ["sh", "-c", 'exec "$@" >&-', "sh", *argv("--home", full.folder, "target", "list")], env=environment(),
        stderr=subprocess.PIPE, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (0, "")


def test_a_user_that_is_not_there(home: Homed) -> None:
    home.run("journal", "check", "~nobody-of-that-name/x").refused(WRONG, "no such user")
    Homed(Path("~nobody-of-that-name/x")).run("status").refused(WRONG, "no such user")
