"""A real daemon in a process of its own, on a home of its own, and the calls that a person's commands make."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any

import msgspec

from uvdose.config import Home
from uvdose.home import read_runtime
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store

READY_S = 20.0
_OPENER = urllib.request.build_opener(urllib.request.ProxyHandler({}))


class Refused(Exception):
    """The daemon refused: status and its one line."""

    def __init__(self, status: int, line: str) -> None:
        super().__init__(f"{status}: {line}")
        self.status = status
        self.line = line


class RunningBench:
    """`with RunningBench(folder, settings) as bench:` runs `uvdose serve`; it can be killed and started again."""

    def __init__(self, folder: Path, settings: str, pace: float = 1.0, port: int = 0) -> None:
        self.home = Home(folder)
        self.pace = pace
        folder.mkdir(parents=True, exist_ok=True)
        self.home.settings_file.write_text(f'[web]\nlisten = "127.0.0.1:{port}"\n' + settings, encoding="utf-8")
        self.env = {"PYTHONPATH": str(Path(__file__).parents[2])}
        self.process: subprocess.Popen[str] | None = None
        self.lines: queue.Queue[str] = queue.Queue()
        self.said: list[str] = []
        self.url = self.token = ""

    def start(self, dies: str = "") -> None:
        """Start, and wait for `ready`. dies: a moment at which it is to kill itself, see support.dying."""
        self.lines = queue.Queue()
        words = self.command(dies)
        self.process = subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ | self.env
        )
        threading.Thread(target=self._gather, args=(self.process, self.lines), daemon=True).start()
        self.wait_line("ready ", READY_S)
        runtime = read_runtime(self.home)
        assert runtime is not None
        self.url, self.token = runtime.url, runtime.token

    def command(self, dies: str = "") -> list[str]:
        """The words that start it."""
        program = ["-m", "uvdose"] if not dies else [str(Path(__file__).with_name("dying.py")), dies]
        return [sys.executable, *program, "--home", str(self.home.folder), "serve", "--pace", f"{self.pace:g}"]

    def wait_line(self, start: str, seconds: float) -> str:
        """The next line that the daemon prints with this in it."""
        end = time.monotonic() + seconds
        while True:
            try:
                line = self.lines.get(timeout=0.05)
            except queue.Empty:
                assert self.process is not None
                ended = self.process.poll()
                if ended is not None or time.monotonic() > end:
                    why = f"it ended with {ended}: {self.errors()}" if ended is not None else f"in {seconds} s"
                    raise AssertionError(f"no {start!r}, {why}; it said {self.said[-5:]}") from None
                continue
            if start in line:
                return line

    def errors(self) -> str:
        """What an ended daemon said on standard error."""
        assert self.process is not None and self.process.stderr is not None
        return self.process.stderr.read()

    def kill(self) -> None:
        """End it without warning."""
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def wait_dead(self, seconds: float) -> None:
        """Wait until it has killed itself."""
        assert self.process is not None
        assert self.process.wait(seconds) == -signal.SIGKILL

    def stop(self) -> int:
        """End it as a service manager does; its exit code."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(15)

    def __enter__(self) -> RunningBench:
        try:
            self.start()
        except BaseException:
            self.__exit__(None, None, None)
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()

    def ask(self, method: str, path: str, body: object = None, timeout: float = 10) -> Any:
        """One request. Raises `Refused`."""
        data = json.dumps(body).encode() if body is not None else None
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        request = urllib.request.Request(f"{self.url}/api/v1{path}", data=data, method=method, headers=headers)
        try:
            with _OPENER.open(request, timeout=timeout) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as err:
            raise Refused(err.code, json.load(err).get("refused", "")) from None

    def target(self, name: str, dose: float, **more: object) -> None:
        self.ask("POST", "/targets", {"name": name, "dose": dose, **more})

    def expose(self, target: str, **more: object) -> int:
        """Start; the exposure's id."""
        return int(self.ask("POST", "/exposures", {"target": target, **more})["exposure"]["id"])

    def act(self, exposure: int, act: str) -> dict[str, Any]:
        found: dict[str, Any] = self.ask("POST", f"/exposures/{exposure}/{act}")
        return found

    def exposure(self, number: int) -> dict[str, Any]:
        for found in self.ask("GET", "/status")["exposures"]:
            if found["id"] == number:
                return dict(found)
        # A print of yesterday: paced wall time may pass midnight within a test.
        kept: dict[str, Any] = msgspec.to_builtins(self.store().exposure(number).document)
        return kept

    def sensor(self, name: str) -> dict[str, Any]:
        found: dict[str, Any] = next(s for s in self.ask("GET", "/status")["sensors"] if s["name"] == name)
        return found

    def wait_live(self, *names: str, seconds: float = 10) -> None:
        self.wait_for(lambda: all(self.sensor(n)["state"] == "live" for n in names), seconds, f"{names} live")

    @staticmethod
    def wait_for(condition: Any, seconds: float, what: str | Callable[[], str]) -> None:
        end = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < end, f"not within {seconds} s: {what if isinstance(what, str) else what()}"
            time.sleep(0.02)

    def store(self) -> Store:
        """The journal, for looking."""
        return Store(open_reading(self.home.journal_file))

    def events(self, exposure: int | None = None) -> list[dict[str, Any]]:
        """What the journal has of an exposure."""
        return [e.flat() for e in self.store().events() if exposure is None or e.exposure == exposure]

    def _gather(self, process: subprocess.Popen[str], lines: queue.Queue[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            self.said.append(line.rstrip("\n"))
            lines.put(line.rstrip("\n"))
