"""The demo's bench: a home of its own, the real daemon in it, and the real commands run on it."""

from __future__ import annotations

import contextlib
import os
import queue
import shlex
import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import IO, Any

import msgspec

from ..clock import real_s
from ..config import Home, find_home
from ..model import Refusal
from .asking import Daemon, find_daemon

READY_S = 15.0
END_S = 10.0

SETTINGS = """\
# Written by `uvdose demo`: a simulated sensor, so that no device is needed.
[bench]
name = "bindery"

[[sensor]]
name = "sill"
link = "simulated"
profile = "cloud"
scale = 0.0125        # mW/cm² per count; invented, as the light is
full_scale = 1023

[web]
listen = "127.0.0.1:0"
"""


class DemoFailed(Refusal):
    """The demo did not come to its end; the line says where."""

    def __init__(self, line: str) -> None:
        super().__init__(f"the demo failed: {line}", 1)


class DemoBench:
    """A context: on leaving it every process that it started has ended, and a home that it made is gone."""

    def __init__(self, folder: str | None, keep: bool, pace: int) -> None:
        self._made = None if folder is not None else tempfile.mkdtemp(prefix="uvdose-demo-")
        self._keep = keep or folder is not None
        self._pace = pace
        self.home: Home = find_home(folder or self._made)
        self.lines: queue.Queue[str] = queue.Queue()
        self.events: queue.Queue[dict[str, Any]] = queue.Queue()
        self._processes: list[subprocess.Popen[str]] = []

    def __enter__(self) -> DemoBench:
        home = self.home
        if home.settings_file.exists() or home.journal_file.exists():
            raise Refusal(f"home {home.folder} is in use already: the demo wants a folder of its own, or none")
        try:
            home.folder.mkdir(parents=True, exist_ok=True)
            home.settings_file.write_text(SETTINGS, encoding="utf-8")
        except OSError as err:
            raise Refusal(f"home {home.folder} cannot be written ({err.strerror}): choose another") from None
        return self

    def __exit__(self, *_: object) -> None:
        for process in reversed(self._processes):
            self._end(process)
        if self._made is not None and not self._keep:
            shutil.rmtree(self._made, ignore_errors=True)

    def serve(self) -> Daemon:
        """Start the daemon and wait until it is ready. Raises `DemoFailed`."""
        command = ["serve", "--pace", str(self._pace)]
        self._say(command)
        process = self._start(command, self._take_line)
        deadline_s = real_s() + READY_S
        while real_s() < deadline_s:
            with contextlib.suppress(queue.Empty):
                line = self.lines.get(timeout=0.1)
                print(line, flush=True)
                daemon = find_daemon(self.home) if line.startswith("ready ") else None
                if daemon is not None:
                    return daemon
            if process.poll() is not None:
                raise DemoFailed(f"the daemon ended with {process.returncode} before it was ready")
        raise DemoFailed(f"the daemon was not ready within {READY_S:g} s")

    def follow(self) -> None:
        """Start `uvdose events --follow --json`; what it says goes into `events`."""
        self._start(["events", "--follow", "--json"], lambda line: self.events.put(msgspec.json.decode(line)))

    def run(self, *command: str) -> None:
        """Run one command as a person would, its output where ours goes. Raises `DemoFailed` if it fails."""
        self._say(list(command))
        done = subprocess.run(self._argv(list(command)), env=self._env(), check=False)
        if done.returncode:
            raise DemoFailed(f"`uvdose {shlex.join(command)}` ended with {done.returncode}")

    def stop(self) -> int:
        """End the follower, then the daemon as a service manager does; the daemon's exit code."""
        daemon, *followers = self._processes
        for follower in followers:
            self._end(follower)
        return self._end(daemon)

    def _say(self, command: list[str]) -> None:
        print(f"\n$ uvdose {shlex.join(command)}", flush=True)

    def _argv(self, command: list[str]) -> list[str]:
        return [sys.executable, "-m", "uvdose", *command, "--home", str(self.home.folder)]

    def _env(self) -> dict[str, str]:
        """So that the commands run the very code that runs here, wherever the demo was started."""
        source = str(Path(__file__).resolve().parents[2])
        path = os.environ.get("PYTHONPATH")
        return os.environ | {"PYTHONPATH": f"{source}{os.pathsep}{path}" if path else source}

    def _take_line(self, line: str) -> None:
        self.lines.put(line.rstrip("\n").replace("\a", ""))

    def _start(self, command: list[str], take: Any) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            self._argv(command), env=self._env(), stdout=subprocess.PIPE, text=True, encoding="utf-8",
            # The follower ends because the daemon ends; its last words would only puzzle.
            stderr=subprocess.DEVNULL if command[0] == "events" else None,
        )
        self._processes.append(process)
        assert process.stdout is not None
        threading.Thread(target=_pump, args=(process.stdout, take), daemon=True).start()
        return process

    def _end(self, process: subprocess.Popen[str]) -> int:
        if process.poll() is None:
            process.terminate()
        try:
            return process.wait(END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            return process.wait()


def _pump(stream: IO[str], take: Any) -> None:
    for line in stream:
        take(line)
