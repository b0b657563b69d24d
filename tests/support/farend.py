"""The far ends of calls, for tests: a push server in any mood, and a `notify-send` that is a script."""

from __future__ import annotations

import json
import os
import socket
import threading
from pathlib import Path
from typing import Any

SCRIPT = """\
#!/bin/sh
case "$(cat {mood})" in
hang) echo $$ > {pid}; sleep 600 ;;
fail) echo "no such desktop" >&2; exit 1 ;;
esac
printf '%s\\n' "$@" >> {said}
"""


class PushServer:
    """Takes what apprise sends as `json://`. mood: ok, or hang (it never answers). It can be shut and opened again."""

    def __init__(self) -> None:
        self.mood = "ok"
        self.got: list[dict[str, Any]] = []
        self.port = 0
        self._server: socket.socket | None = None
        self._held: list[socket.socket] = []
        self.open()

    def open(self) -> None:
        server = socket.socket()
        server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        server.bind(("127.0.0.1", self.port))
        server.listen(16)
        self.port = server.getsockname()[1]
        self._server = server
        threading.Thread(target=self._accept, args=(server,), daemon=True).start()

    def shut(self) -> None:
        """Whoever comes is refused from now on."""
        if self._server is not None:
            self._server.shutdown(socket.SHUT_RDWR)
            self._server.close()
            self._server = None
        for one in self._held:
            one.close()

    def _accept(self, server: socket.socket) -> None:
        while True:
            try:
                one, _ = server.accept()
            except OSError:
                return
            self._held.append(one)
            if self.mood == "ok":
                self._answer(one)

    def _answer(self, one: socket.socket) -> None:
        data = b""
        while b"\r\n\r\n" not in data or len(data) < self._length(data):
            data += one.recv(65536)
        self.got.append(json.loads(data.partition(b"\r\n\r\n")[2]))
        one.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")
        one.close()

    @staticmethod
    def _length(data: bytes) -> int:
        head, _, _ = data.partition(b"\r\n\r\n")
        for line in head.split(b"\r\n"):
            if line.lower().startswith(b"content-length:"):
                return len(head) + 4 + int(line.split(b":")[1])
        return len(head) + 4


class Desktop:
    """`notify-send` in a folder of its own, for PATH. What it was given is in `said`."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        self.folder = folder
        self._mood, self._said, self._pid = folder / "mood", folder / "said", folder / "pid"
        self.program = folder / "notify-send"
        self.set("ok")
        self._said.touch()

    def set(self, mood: str) -> None:
        """ok, hang, fail."""
        self._mood.write_text(mood)

    def install(self) -> None:
        self.program.write_text(SCRIPT.format(mood=self._mood, said=self._said, pid=self._pid))
        self.program.chmod(0o755)

    @property
    def said(self) -> str:
        return self._said.read_text()

    def hangs(self) -> bool:
        """Whether one that hangs is there now."""
        try:
            os.killpg(int(self._pid.read_text()), 0)
        except (OSError, ValueError):
            return False
        return True
