"""A daemon that the network reaches, and visitors that speak HTTP with it over sockets as they please."""

from __future__ import annotations

import http.client
import itertools
import json
import os
import re
import socket
import ssl
import subprocess
import sys
from pathlib import Path
from typing import Any, NamedTuple

from .bench import RunningBench

SENSOR = """
[[sensor]]
name = "sill"
link = "simulated"
profile = "clear"
scale = 0.0125
full_scale = 1023
[bench]
name = "bindery"
"""

_sources = itertools.count(2)


def own_source() -> str:
    """A loopback address of its own for each visitor, so that none uses up what another may ask."""
    number = next(_sources)
    return f"127.0.{1 + number // 250}.{1 + number % 250}"


class Answer(NamedTuple):
    """What came back."""

    status: int
    headers: dict[str, str]
    data: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.data)

    @property
    def refused(self) -> str:
        """The one line of a refusal."""
        assert self.headers["content-type"] == "application/json", self
        line: str = self.json["refused"]
        assert "\n" not in line and "Traceback" not in line, line
        return line


class Visitor:
    """Somebody in the network: an address, and a cookie once it is paired."""

    def __init__(self, port: int, tls: ssl.SSLContext | None = None, host: str = "127.0.0.1") -> None:
        self.port = port
        self.source = own_source()
        self.tls = tls
        self.host = host
        self.cookie: str | None = None

    @property
    def origin(self) -> str:
        return f"{'https' if self.tls else 'http'}://{self.host}:{self.port}"

    def connect(self) -> socket.socket:
        """A bare connection."""
        sock = socket.create_connection((self.host, self.port), timeout=20, source_address=(self.source, 0))
        return self.tls.wrap_socket(sock, server_hostname=self.host) if self.tls else sock

    def ask(self, method: str, path: str, body: object = None, **headers: str | None) -> Answer:
        """One request, as the page would send it; a header set to None is left out."""
        with self.opened(method, path, body, **headers) as answer:
            return Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())

    def opened(self, method: str, path: str, body: object = None, **headers: str | None) -> http.client.HTTPResponse:
        """One request whose answer is read as it comes."""
        data = body if isinstance(body, bytes) else json.dumps(body).encode() if body is not None else None
        sent: dict[str, str | None] = {"Host": f"{self.host}:{self.port}", "Cookie": self.cookie}
        if method == "POST":
            sent |= {"Origin": self.origin, "Content-Type": "application/json"}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection(self.host, self.port)
        connection.sock = self.connect()
        kept = {k: v for k, v in sent.items() if v is not None}
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in kept.items():
            connection.putheader(name, value)
        if data is not None or method == "POST":
            connection.putheader("Content-Length", str(len(data or b"")))
        connection.endheaders()
        if data:
            connection.send(data)
        return connection.getresponse()

    def raw(self, data: bytes) -> bytes:
        """Send bytes; all that comes back until the other side closes."""
        with self.connect() as sock:
            sock.sendall(data)
            sock.shutdown(socket.SHUT_WR) if self.tls is None else None
            return everything(sock)

    def pair(self, code: str, name: str = "") -> Answer:
        """Show a code, and keep the cookie."""
        answer = self.ask("POST", "/api/v1/pair", {"code": code, "name": name})
        if "set-cookie" in answer.headers:
            self.cookie = answer.headers["set-cookie"].partition(";")[0]
        return answer


def everything(sock: socket.socket) -> bytes:
    """What comes until the end."""
    data = b""
    while part := sock.recv(65536):
        data += part
    return data


class Site(RunningBench):
    """`serve` with the network switched on in its settings."""

    def __init__(self, folder: Path, web: str = "", more: str = "", pace: float = 20) -> None:
        self.network_port = 0
        lines = f"lan = true\nlan_port = 0\n{web}\n{SENSOR}\n{more}"
        super().__init__(folder, lines, pace)

    def start(self, dies: str = "") -> None:
        super().start(dies)
        self.network_port = int(self.wait_line("on the network ", 10).rpartition(":")[2])

    @property
    def inside_port(self) -> int:
        return int(self.url.rpartition(":")[2])

    def visitor(self, **more: Any) -> Visitor:
        """Somebody in the network."""
        return Visitor(self.network_port, **more)

    def code(self, view: bool = False, name: str = "") -> str:
        """A new code, as `phone pair` gets it."""
        made = self.ask("POST", "/phones/code", {"view": view, "name": name})
        return str(made["code"])

    def phone(self, view: bool = False, name: str = "", **more: Any) -> Visitor:
        """A paired phone."""
        visitor = self.visitor(**more)
        answer = visitor.pair(self.code(view, name))
        assert answer.status == 200, answer
        return visitor

    def run(self, *words: object, **env: str) -> subprocess.CompletedProcess[str]:
        """A command on this home."""
        argv = [sys.executable, "-m", "uvdose", *map(str, words), "--home", str(self.home.folder)]
        return subprocess.run(argv, capture_output=True, text=True, timeout=60, env=os.environ | self.env | env)

    def wait_live(self) -> None:
        """Until the sensor is there."""
        import time

        end = time.monotonic() + 15
        while not any(s["state"] == "live" for s in self.ask("GET", "/status")["sensors"]):
            assert time.monotonic() < end
            time.sleep(0.05)


def secrets_in(text: str) -> list[str]:
    """What looks like a token or a code."""
    return re.findall(r"\b[2-9A-HJ-NP-TV-Z]{4}-[2-9A-HJ-NP-TV-Z]{4}\b|[A-Za-z0-9_-]{40,}", text)
