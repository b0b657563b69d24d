"""A real Mosquitto on a free loopback port, with a configuration and files of its own."""

from __future__ import annotations

import getpass
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType

from .needs import program

READY_S = 10.0


def free_port() -> int:
    """A loopback port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def make_ca(folder: Path, name: str) -> Path:
    """A self-signed CA; its certificate's path, the key beside it."""
    openssl = program("openssl")
    key, cert = folder / f"{name}.key", folder / f"{name}.pem"
    _run(openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={name}",
         "-addext", "keyUsage=critical,keyCertSign,cRLSign", "-keyout", str(key), "-out", str(cert))  # fmt: skip
    return cert


def make_certificate(folder: Path, ca: Path) -> tuple[Path, Path]:
    """Certificate and key for 127.0.0.1 and localhost, signed by a CA of `make_ca`."""
    openssl = program("openssl")
    key, request, cert, names = (folder / n for n in ("broker.key", "broker.csr", "broker.pem", "names.cnf"))
    names.write_text("subjectAltName=IP:127.0.0.1,DNS:localhost\n")
    _run(openssl, "req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=localhost",
         "-keyout", str(key), "-out", str(request))  # fmt: skip
    _run(openssl, "x509", "-req", "-in", str(request), "-CA", str(ca), "-CAkey", str(ca.with_suffix(".key")),
         "-CAcreateserial", "-days", "2", "-extfile", str(names), "-out", str(cert))  # fmt: skip
    return cert, key


def _run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True, timeout=60)


class Broker:
    """`with Broker() as broker:` runs one. users: name -> password; with any, no other login is let in."""

    def __init__(self, users: dict[str, str] | None = None, tls: bool = False) -> None:
        self._mosquitto = program("mosquitto")
        self.port = free_port()
        self.folder = Path(tempfile.mkdtemp(prefix="broker-"))
        self.ca: Path | None = None
        self._process: subprocess.Popen[bytes] | None = None
        lines = [f"listener {self.port} 127.0.0.1", f"allow_anonymous {'false' if users else 'true'}",
                 "persistence false", f"user {getpass.getuser()}"]  # fmt: skip
        if users:
            passwords = self.folder / "passwords"
            passwords.touch(mode=0o600)
            for name, password in users.items():
                _run(program("mosquitto_passwd"), "-b", str(passwords), name, password)
            lines.append(f"password_file {passwords}")
        if tls:
            self.ca = make_ca(self.folder, "ca")
            cert, key = make_certificate(self.folder, self.ca)
            lines += [f"certfile {cert}", f"keyfile {key}"]
        self._config = self.folder / "broker.conf"
        self._config.write_text("\n".join(lines) + "\n")

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start it, or start it again on the same port; returns when it listens."""
        assert self._process is None
        with (self.folder / "log").open("ab") as log:
            command = [self._mosquitto, "-c", str(self._config)]
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        end = time.monotonic() + READY_S
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
                return
            except OSError:
                ended = self._process.poll() is not None
                if ended or time.monotonic() > end:
                    self.kill()
                    raise RuntimeError(f"broker did not start: {(self.folder / 'log').read_text()[-800:]}") from None
                time.sleep(0.02)

    def stop(self) -> None:
        """End it in order."""
        self._end(kill=False)

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(kill=True)

    def _end(self, kill: bool) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        if kill:
            process.kill()
        else:
            process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5)

    def __enter__(self) -> Broker:
        self.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)
