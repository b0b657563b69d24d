"""A command at a real pseudo-terminal of its own, and somebody who reads what it says and types."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import subprocess
import termios
import time
from collections.abc import Mapping, Sequence
from types import TracebackType

CTRL_C, CTRL_D = "\x03", "\x04"


class PtyTalk:
    """`with PtyTalk(words, env) as talk:` runs a command whose standard streams are one terminal, its own."""

    def __init__(self, words: Sequence[str], env: Mapping[str, str]) -> None:
        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, b"\x28\x00\x78\x00" + b"\x00" * 4)  # 40 rows of 120
        self.process = subprocess.Popen(
            words, stdin=slave, stdout=slave, stderr=slave, env=dict(env), start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )
        os.close(slave)
        self.said = ""
        self._seen = 0

    def __enter__(self) -> PtyTalk:
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(10)
        os.close(self._master)

    def wait_for(self, pattern: str, seconds: float = 20) -> re.Match[str]:
        """The next place in what it says that fits; what was waited for before is not looked at again."""
        end = time.monotonic() + seconds
        while (found := re.compile(pattern).search(self.said, self._seen)) is None:
            assert self._read(end - time.monotonic()), f"no {pattern!r}; it said {self.said[-800:]!r}"
        self._seen = found.end()
        return found

    def send(self, text: str) -> None:
        """Type this, and Enter."""
        os.write(self._master, (text + "\n").encode())

    def press(self, key: str) -> None:
        """Press one key, such as CTRL_C, without Enter; no person is quicker than this after a prompt."""
        time.sleep(0.2)
        os.write(self._master, key.encode())

    def talk(self, *pairs: tuple[str, str]) -> None:
        """Wait for each question, and answer it."""
        for question, typed in pairs:
            self.wait_for(question)
            self.send(typed)

    def ends(self, seconds: float = 20) -> int:
        """Read to its end; its exit code."""
        end = time.monotonic() + seconds
        while self._read(end - time.monotonic()):
            pass
        return self.process.wait(max(0.1, end - time.monotonic()))

    def _read(self, seconds: float) -> bool:
        """Some more of what it says; False when it has ended or the time is over."""
        if seconds <= 0 or not select.select([self._master], [], [], seconds)[0]:
            return False
        try:
            data = os.read(self._master, 65536)
        except OSError:
            return False  # the other side is closed
        self.said += data.decode(errors="replace")
        return bool(data)
