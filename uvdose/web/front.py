"""What lies between the daemon and whoever asks: sockets, names, TLS, the gate, and what a person is told of them."""

from __future__ import annotations

import os
import secrets
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import msgspec
from starlette.applications import Starlette

from ..config import Home, Settings, split_listen
from ..model import Refusal
from .access import COOKIE, Access
from .addresses import Hosts, addresses
from .gate import Gate
from .mdns import Announcer
from .pairing import Pairing
from .phones import Phones, digest_of
from .qr import invite_lines
from .server import Server, bind, make_server, url_of
from .tls import tls_context

Say = Callable[[str], None]

CA_FILE = Path("tls", "ca.pem")


class Reach(NamedTuple):
    """What `serve` was told: over the network too, at which port, under which name; how its terminal is.

    port, name: None: as the settings say. terminal: a person looks at the output. colour: it may have colours.
    """

    lan: bool = False
    port: int | None = None
    name: str | None = None
    terminal: bool = False
    colour: bool = False

    def over(self, settings: Settings) -> Settings:
        """The settings with what was told in place of theirs. Raises `Refusal`."""
        web = settings.web
        lan = self.lan or web.lan
        if not lan and (self.port is not None or self.name is not None):
            raise Refusal("--port and --name are for the network: say --lan as well", 2)
        port = web.lan_port if self.port is None else self.port
        return msgspec.structs.replace(
            settings, web=msgspec.structs.replace(web, lan=lan, lan_port=port, name=self.name or web.name)
        )


class Front:
    """One daemon's front. Made before anything else starts, since it may be refused. Raises `Refusal`."""

    def __init__(self, home: Home, settings: Settings, say: Say) -> None:
        web = settings.web
        self.token = secrets.token_urlsafe(24)
        self._say = say
        self._web = web
        self._tls: ssl.SSLContext | None = None
        if web.lan and web.tls_cert and web.tls_key:
            self._tls = tls_context(
                home.folder / os.path.expanduser(web.tls_cert), home.folder / os.path.expanduser(web.tls_key)
            )
        self._socket = bind(*split_listen(web.listen, str(home.settings_file)))
        self._network = bind("0.0.0.0", web.lan_port, "web.lan_port") if web.lan else None
        self._phones = Phones(home.phones_file)
        self._access = Access(self.token, self._phones)
        self._names = [f"{web.name}.local"] if web.name else []
        self._hosts = Hosts([*self._names, *web.hosts])
        self.pairing = Pairing(self._access, self.urls, web.lan, home.folder / CA_FILE)
        self._announcer = Announcer(web.name, say) if web.lan and web.name else None
        self._server: Server | None = None

    @property
    def url(self) -> str:
        """The address for the commands, of this machine alone."""
        return url_of(self._socket)

    @property
    def started(self) -> bool:
        """Whether it answers."""
        return self._server is not None and self._server.started

    def urls(self) -> list[str]:
        """The addresses that a phone can be told, the best first."""
        if self._network is None:
            return [self.url]
        scheme, port = "https" if self._tls is not None else "http", self._port
        found = addresses()
        ips = [a.ip for a in found if a.real] or [a.ip for a in found]
        named = self._names if self._announcer is not None and self._announcer.announced else []
        hosts = [*ips, *named, *self._web.hosts] or ["127.0.0.1"]
        return [f"{scheme}://{host}:{port}" for host in hosts]

    def dress(self, app: Starlette, home_id: str) -> None:
        """The app that answers, behind the gate. home_id: tells its cookies from those of other daemons here."""
        self._access.cookie = f"{COOKIE}_{digest_of(home_id)[:8]}"
        gate = Gate(app, self._access, self._hosts.serves)
        if self._network is not None:
            gate.network_port = self._port
        self._server = make_server(gate, self._say)
        self._server.network, self._server.tls = self._network, self._tls

    async def serve(self) -> None:
        """Answer until `end`."""
        assert self._server is not None, "an app comes first"
        await self._server.serve([self._socket])

    async def tell(self, reach: Reach) -> None:
        """Announce the name, and say how a phone gets here. A code is shown on a terminal only, never left in a log."""
        if self._phones.all() == [] and self._phones.fault:
            self._say(f"ALARM {self._phones.fault}")
        if self._network is None:
            return
        if self._announcer is not None:
            await self._announcer.begin(self._port, [a.ip for a in addresses() if a.real])
        for url in self.urls():
            self._say(f"on the network {url}")
        if self._tls is None:
            self._say("without TLS: others in this network can read along; `uvdose phone ca` says how to change it")
        if reach.terminal:
            code = self.pairing.invite("act")
            self._say("\n".join(invite_lines(code.urls, code.role, code.valid_s, reach.colour)))
        else:
            self._say("`uvdose phone pair` makes a code that pairs a phone")

    async def end(self) -> None:
        """Let the server end, and take the name back."""
        self._phones.keep_seen()
        if self._server is not None:
            self._server.end()
        if self._announcer is not None:
            await self._announcer.end()

    @property
    def _port(self) -> int:
        assert self._network is not None
        return int(self._network.getsockname()[1])
