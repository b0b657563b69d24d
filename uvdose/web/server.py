"""uvicorn inside the daemon's own loop: it takes bound sockets, and leaves signals to the daemon.

One socket is this machine's alone and speaks plain HTTP; the other, if there is one, is the network's, maybe with TLS.
Slow and many connections are bounded here, before there is any request to be looked at.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import ssl
from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from ..model import Refusal
from .gate import MOST_HEAD

TICK_S = 1.0
HEAD_S = 10.0  # so long a request's head, or the first byte of a connection, is waited for
HANDSHAKE_S = 10.0
STUCK_S = 20.0  # so long a client may leave an answer, or a part of a stream, unread
MOST_NETWORK, MOST_FROM_ONE = 400, 80  # a browser opens six, and fifty phones may do so at once
MOST_INSIDE = 400


class Wire(H11Protocol):
    """One connection. Its request's head must be there in time: who drips it would hold the connection for ever."""

    _head: asyncio.TimerHandle | None = None
    _stuck: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        transport.set_write_buffer_limits(high=1)  # what is not taken is told at once; 0 would stop TLS for good
        if len(self.connections) > MOST_INSIDE + MOST_NETWORK:
            transport.abort()
            return
        self._wait_for_head()

    def data_received(self, data: bytes) -> None:
        if self._head is None and not self._busy():
            self._wait_for_head()
        try:
            super().data_received(data)
        except Exception:
            # Rubbish at a moment when the parser can say nothing more. It must end the connection, not the daemon.
            self.transport.abort()
            return
        if self._busy():
            self._stop_waiting()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        self._unstick()
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        """Something lies unread. Who never reads would hold the connection for ever, also one that is being closed."""
        super().pause_writing()
        self._unstick()
        self._stuck = self.loop.call_later(STUCK_S, self.transport.abort)

    def resume_writing(self) -> None:
        """All of it has gone."""
        super().resume_writing()
        self._unstick()

    def _unstick(self) -> None:
        if self._stuck is not None:
            self._stuck.cancel()
            self._stuck = None

    def timeout_keep_alive_handler(self) -> None:
        try:
            super().timeout_keep_alive_handler()
        except Exception:
            self.transport.abort()

    def _busy(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _wait_for_head(self) -> None:
        self._head = self.loop.call_later(HEAD_S, self._late)

    def _stop_waiting(self) -> None:
        if self._head is not None:
            self._head.cancel()
            self._head = None

    def _late(self) -> None:
        self._head = None
        if not self._busy() and not self.transport.is_closing():
            self.transport.abort()


class Server(uvicorn.Server):
    """uvicorn ends the process by the signal itself; the daemon must end with 0, so its capture is switched off."""

    network: socket.socket | None = None
    tls: ssl.SSLContext | None = None

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self._over = asyncio.Event()

    def end(self) -> None:
        """Let it end, at once."""
        self.should_exit = True
        self._over.set()

    async def main_loop(self) -> None:
        """What uvicorn does ten times a second: once, for the answers' Date, and at the end."""
        while not await self.on_tick(0):
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._over.wait(), TICK_S)

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.network is not None:
            self._doorman = asyncio.create_task(self._admit(self.network), name="network")

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        if self.network is not None:
            self._doorman.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._doorman
            self.network.close()
        await super().shutdown(sockets)

    async def _admit(self, network: socket.socket) -> None:
        """Take connections of the network, so many in all and so many from one address, handshakes included."""
        loop = asyncio.get_running_loop()
        inside: Counter[str] = Counter()
        tasks: set[asyncio.Task[None]] = set()
        network.setblocking(False)
        try:
            while True:
                try:
                    connection, (address, *_) = await loop.sock_accept(network)
                except OSError:
                    await asyncio.sleep(0.2)  # too many open files, or gone before it was taken
                    continue
                if inside.total() >= MOST_NETWORK or inside[address] >= MOST_FROM_ONE:
                    connection.close()
                    continue
                inside[address] += 1
                task = loop.create_task(self._hold(connection, partial(_less, inside, address)))
                tasks.add(task)
                task.add_done_callback(tasks.discard)
        finally:
            for task in tasks:
                task.cancel()

    async def _hold(self, connection: socket.socket, gone: Callable[[], None]) -> None:
        """Speak with one connection, to its end. gone: called then."""
        ended = asyncio.get_running_loop().create_future()

        class Counted(Wire):
            """Tells when it has ended."""

            def connection_lost(self, exc: Exception | None) -> None:
                super().connection_lost(exc)
                if not ended.done():
                    ended.set_result(None)

        try:
            await asyncio.get_running_loop().connect_accepted_socket(
                lambda: Counted(self.config, self.server_state, self.lifespan.state), connection,
                ssl=self.tls, ssl_handshake_timeout=HANDSHAKE_S if self.tls is not None else None,
            )  # fmt: skip
            await ended
        except (OSError, asyncio.IncompleteReadError):
            connection.close()  # no TLS, or not in time
        finally:
            gone()


def _less(count: Counter[str], address: str) -> None:
    count[address] -= 1
    if count[address] <= 0:
        del count[address]


def bind(host: str, port: int, key: str = "web.listen") -> socket.socket:
    """A listening socket, made before anything else starts. Raises `Refusal` for an address that cannot be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # By its protocol's name: only then asyncio lets small packets go at once, and an answer is not 40 ms late.
    sock = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(64)
    except OSError as err:
        sock.close()
        raise Refusal(
            f"{key} {host}:{port} cannot be had ({err.strerror or err}): another program, or the daemon of another"
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
        if isinstance(error, h11.LocalProtocolError):
            return  # an answer to a request that was broken off with rubbish
        self._say(f"the API failed at a request: {error!r}" if error is not None else "the API failed at a request")


def make_server(app: ASGIApp, say: Callable[[str], None]) -> Server:
    """A quiet server; open event streams hold the exit for one second at the most. say: must not block."""
    log = logging.getLogger("uvicorn")
    log.handlers, log.propagate = [_Log(say)], False
    return Server(
        uvicorn.Config(
            app, log_config=None, access_log=False, lifespan="off", timeout_graceful_shutdown=1, http=Wire, ws="none",
            server_header=False, proxy_headers=False,  # an address that a header claims is nobody's
            h11_max_incomplete_event_size=MOST_HEAD,
        )
    )


def url_of(sock: socket.socket) -> str:
    """The address that the socket answers on."""
    host, port = sock.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
