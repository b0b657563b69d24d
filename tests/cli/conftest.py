"""Real runs of the commands, on homes of their own, beside a real daemon with a simulated sensor."""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from uvdose.cli import app

ROOT = Path(__file__).parents[2]

SIMULATED = """\
[bench]
name = "bindery"
[[sensor]]
name = "sill"
link = "simulated"
profile = "clear"
scale = 0.0125
full_scale = 1023
[web]
listen = "127.0.0.1:0"
"""


class Ran(NamedTuple):
    """What one command came to."""

    code: int
    out: str
    err: str

    def refused(self, code: int, *words: str) -> None:
        """It failed as it should: with this code, one line that holds these words, and nothing else."""
        assert self.code == code, self
        lines = self.err.splitlines()
        assert len(lines) == 1 and lines[0].startswith("uvdose: "), self
        assert "Traceback" not in self.err and self.out == "", self
        for word in words:
            assert word in lines[0], (word, lines[0])


def environment(**more: str) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith("UVDOSE_") and k != "LINES"}
    return kept | {"PYTHONPATH": str(ROOT), "TZ": "UTC", "COLUMNS": "100", "HOME": "/dev/null/none"} | more


def argv(*words: object) -> list[str]:
    return [sys.executable, "-m", "uvdose", *map(str, words)]


class Homed:
    """Commands on one home."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def run(self, *words: object, timeout: float = 30, **env: str) -> Ran:
        done = subprocess.run(
            argv(*words, "--home", self.folder), capture_output=True, text=True, timeout=timeout, env=environment(**env)
        )
        return Ran(done.returncode, done.stdout, done.stderr)

    def call(self, *words: object) -> Ran:
        """As `run`, without a process of its own: for many small calls."""
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = app.run([*map(str, words), "--home", str(self.folder)])
        return Ran(code, out.getvalue(), err.getvalue())

    def told(self, *words: object) -> Any:
        """The JSON of a command that does what it should."""
        ran = self.call(*words, "--json")
        assert ran.code == 0, ran
        return json.loads(ran.out)

    def write(self, settings: str) -> Homed:
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / "uvdose.toml").write_text(settings, encoding="utf-8")
        return self


class Daemon(Homed):
    """`uvdose serve` on a home, from `ready` on."""

    def __init__(self, folder: Path, settings: str = SIMULATED, pace: float = 20) -> None:
        super().__init__(folder)
        self.write(settings)
        self.process = subprocess.Popen(
            argv("serve", "--pace", pace, "--home", folder), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env=environment(),
        )  # fmt: skip
        assert self.process.stdout is not None and self.process.stderr is not None
        line = self.process.stdout.readline()
        if not line.startswith("ready "):
            self.process.kill()
            raise AssertionError((line, self.process.communicate()))

    def wait_live(self) -> None:
        end = time.monotonic() + 10
        while '"live"' not in self.call("status", "--json").out:
            assert time.monotonic() < end
            time.sleep(0.05)

    def stop(self) -> Ran:
        self.process.send_signal(signal.SIGTERM)
        try:
            out, err = self.process.communicate(timeout=15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            out, err = self.process.communicate()
        return Ran(self.process.returncode, out, err)


@pytest.fixture
def home(tmp_path: Path) -> Homed:
    """A home without anything in it."""
    return Homed(tmp_path / "home")


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    """A running daemon, its sensor live."""
    running = Daemon(tmp_path / "served")
    try:
        running.wait_live()
        yield running
    finally:
        running.stop()


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[object]:
    """`serve(name, settings)` starts a daemon on a home of its own; all of them are ended."""
    started: list[Daemon] = []

    def start(name: str, settings: str = SIMULATED, pace: float = 20) -> Daemon:
        started.append(Daemon(tmp_path / name, settings, pace))
        return started[-1]

    yield start
    for running in started:
        running.stop()
