"""Talk to a program at a real terminal: a pty of its own, keys typed, the screen read."""

from __future__ import annotations

import fcntl
import os
import re
import signal
import struct
import subprocess
import termios
import threading
import time

ANSI = re.compile(r"\x1b(?:\[[0-9;?<>=]*[ -/]*[@-~]|[()][A-Z0-9]|[=>78])|\r")


class ScreenTalk:
    """`ScreenTalk(words, env)` runs a program; `close` ends it. `text`: all it wrote; `plain`: that without ANSI."""

    def __init__(self, words: list[str], env: dict[str, str], rows: int = 30, cols: int = 100) -> None:
        self.master, self.slave = os.openpty()
        self.resize(rows, cols, tell=False)
        self.before = termios.tcgetattr(self.slave)
        self.process = subprocess.Popen(
            words, stdin=self.slave, stdout=self.slave, stderr=self.slave, env=env, start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )  # fmt: skip
        self.text = ""
        self._seen = 0
        self._news = threading.Condition()
        threading.Thread(target=self._read, daemon=True).start()

    @property
    def plain(self) -> str:
        return ANSI.sub("", self.text)

    def wait_for(self, pattern: str, seconds: float = 15) -> re.Match[str]:
        """The next place where the pattern is shown, after the one waited for before."""
        end = time.monotonic() + seconds
        with self._news:
            while (found := re.compile(pattern).search(self.plain, self._seen)) is None:
                left = end - time.monotonic()
                assert left > 0, f"no {pattern!r} in {seconds} s; ended: {self.process.poll()}; {self.plain[-1500:]}"
                self._news.wait(min(left, 0.1))
            self._seen = found.end()
            return found

    def wait_raw(self, piece: str, seconds: float = 10) -> None:
        """Wait for a sequence that is no text."""
        end = time.monotonic() + seconds
        with self._news:
            while piece not in self.text:
                assert time.monotonic() < end, f"no {piece!r} in {self.text[-500:]!r}"
                self._news.wait(0.1)

    def send(self, text: str) -> None:
        """Type it; what was shown until now is not waited for any more."""
        with self._news:
            self._seen = len(self.plain)
        os.write(self.master, text.encode())

    def resize(self, rows: int, cols: int, tell: bool = True) -> None:
        """Make the window another size, as a terminal does."""
        fcntl.ioctl(self.slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, cols, 0, 0))
        if tell:
            os.killpg(self.process.pid, signal.SIGWINCH)

    def wait(self, seconds: float = 15) -> int:
        """Its exit code."""
        return self.process.wait(seconds)

    def is_restored(self) -> bool:
        """Whether the terminal is as it was before."""
        return termios.tcgetattr(self.slave) == self.before

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)
        for fd in (self.master, self.slave):
            os.close(fd)

    def _read(self) -> None:
        while True:
            try:
                data = os.read(self.master, 65536)
            except OSError:
                return
            with self._news:
                self.text += data.decode("utf-8", "replace")
                self._news.notify_all()
