"""A running bench that is watched: does its API answer, what does it cost, what does it say, and when."""

from __future__ import annotations

import http.client
import os
import queue
import subprocess
import sys
import threading
import time
from pathlib import Path

from support.bench import RunningBench

ANSWERS_WITHIN_S = 2.0
_TICK_S = 1 / os.sysconf("SC_CLK_TCK")


class WatchedBench(RunningBench):
    """Keeps what each of its processes cost and said on standard error; asks for the status the whole time."""

    def __init__(self, folder: Path, settings: str, pace: float = 1.0, driver: Path | None = None) -> None:
        super().__init__(folder, settings, pace)
        self.driver = driver
        self.faults: list[str] = []
        self.calls: list[tuple[float, str]] = []
        self.slowest_s = 0.0
        self.rss_mb = 0.0
        self.cpu_s = self.up_s = 0.0
        self.stderr: list[str] = []
        self.may_be_deaf = threading.Event()
        self._ready_s = 0.0
        self._cpu0_s = 0.0
        self._ended = threading.Event()
        self._prober = threading.Thread(target=self._probe, daemon=True)

    def command(self, dies: str = "") -> list[str]:
        words = super().command(dies)
        return words if self.driver is None else [sys.executable, str(self.driver), *words[words.index("--home") :]]

    def start(self, dies: str = "") -> None:
        super().start(dies)
        process = self.process
        assert process is not None and process.stderr is not None
        threading.Thread(target=self._gather_errors, args=(process,), daemon=True).start()
        self._ready_s, self._cpu0_s = time.monotonic(), self._cpu()
        self.may_be_deaf.clear()
        if not self._prober.ident:
            self._prober.start()

    def kill(self) -> None:
        self.may_be_deaf.set()
        self.measure()
        super().kill()

    def stop(self) -> int:
        self.may_be_deaf.set()
        self.measure()
        return super().stop()

    def measure(self) -> None:
        """Take down what the present process has cost so far."""
        if self.process is None or self.process.poll() is not None:
            return
        self.cpu_s += self._cpu() - self._cpu0_s
        self.up_s += time.monotonic() - self._ready_s
        self._ready_s, self._cpu0_s = time.monotonic(), self._cpu()
        status = Path(f"/proc/{self.process.pid}/status").read_text().split("VmHWM:")[1].split()
        self.rss_mb = max(self.rss_mb, int(status[0]) / 1024)

    def end(self) -> None:
        """SIGTERM, which must end it with 0, and what it left on standard error."""
        self._ended.set()
        assert self.process is not None
        if (early := self.process.poll()) is not None:
            self.faults.append(f"the daemon ended by itself with {early}")
        else:
            try:
                if (code := self.stop()) != 0:
                    self.faults.append(f"SIGTERM ended it with {code}")
            except subprocess.TimeoutExpired:
                self.faults.append("SIGTERM did not end it within 15 s")
        time.sleep(0.05)
        said = "".join(self.stderr)
        if said.strip():
            self.faults.append(f"on standard error: {said[-600:]}")

    def _cpu(self) -> float:
        assert self.process is not None
        words = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(words[11]) + int(words[12])) * _TICK_S

    def _probe(self) -> None:
        while not self._ended.wait(0.3):
            if self.may_be_deaf.is_set():
                continue
            begin_s = time.monotonic()
            try:
                self.ask("GET", "/status", timeout=ANSWERS_WITHIN_S)
            except (OSError, http.client.HTTPException) as err:
                # A kill may have come in between: it says so before it is done.
                if not self.may_be_deaf.is_set() and not self._ended.is_set():
                    self.faults.append(f"the API did not answer: {err}")
            else:
                if not self.may_be_deaf.is_set():
                    self.slowest_s = max(self.slowest_s, time.monotonic() - begin_s)

    def _gather_errors(self, process: subprocess.Popen[str]) -> None:
        assert process.stderr is not None
        for line in process.stderr:
            self.stderr.append(line)

    def _gather(self, process: subprocess.Popen[str], lines: queue.Queue[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            now_s = time.monotonic()
            text = line.rstrip("\n")
            self.said.append(text)
            lines.put(text)
            if "CALL reached" in text:
                self.calls.append((now_s, text))
