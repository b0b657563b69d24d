"""uvicorn inside the daemon's own loop: it takes a bound socket, and leaves signals to the daemon."""

from __future__ import annotations

import contextlib
import logging
import socket
from collections.abc import Callable, Iterator

import uvicorn
from starlette.applications import Starlette

from ..model import Refusal


class Server(uvicorn.Server):
    """uvicorn ends the process by the signal itself; the daemon must end with 0, so its capture is switched off."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def bind(host: str, port: int) -> socket.socket:
    """A listening socket, made before anything else starts. Raises `Refusal` for an address that cannot be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(64)
    except OSError as err:
        sock.close()
        raise Refusal(
            f"web.listen {host}:{port} cannot be had ({err.strerror or err}): another program, or the daemon of another"
            " home, may have it; set another port under [web] in uvdose.toml, or 0 for any free one"
        ) from None
    return sock


class _Log(logging.Handler):
    """What uvicorn has to say of a fault, as one line that never blocks; rubbish from a client is not worth one."""

    def __init__(self, say: Callable[[str], None]) -> None:
        super().__init__(logging.ERROR)
        self._say = say

    def emit(self, record: logging.LogRecord) -> None:
        """Tell the exception by its name, without its trace."""
        error = record.exc_info[1] if record.exc_info else None
        self._say(f"the API failed at a request: {error!r}" if error is not None else "the API failed at a request")


def make_server(app: Starlette, say: Callable[[str], None]) -> Server:
    """A quiet server; open event streams hold the exit for one second at the most. say: must not block."""
    log = logging.getLogger("uvicorn")
    log.handlers, log.propagate = [_Log(say)], False
    return Server(uvicorn.Config(app, log_config=None, access_log=False, lifespan="off", timeout_graceful_shutdown=1))


def url_of(sock: socket.socket) -> str:
    """The address that the socket answers on."""
    host, port = sock.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
