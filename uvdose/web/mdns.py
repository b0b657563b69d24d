"""The name `<name>.local` in the network, with the extra `mdns`; without it addresses by number remain."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Callable
from typing import Any

BEGIN_S, END_S = 5.0, 2.0


class Announcer:
    """Announces one name. say: prints one line."""

    def __init__(self, name: str, say: Callable[[str], None]) -> None:
        self._name = name.lower()
        self._say = say
        self._zeroconf: Any = None
        self.announced = False

    async def begin(self, port: int, ips: list[str], interfaces: list[str] | None = None) -> None:
        """Announce the name for these addresses; a fault is told in one line and stops nothing."""
        try:
            from zeroconf import ServiceInfo
            from zeroconf.asyncio import AsyncZeroconf
        except ImportError:
            self._say(f"the name {self._name}.local is not announced: `pip install 'uvdose[mdns]'` adds what it needs")
            return
        if not ips:
            self._say(f"the name {self._name}.local is not announced: this machine is in no network")
            return
        info = ServiceInfo(
            "_http._tcp.local.", f"{self._name}._http._tcp.local.", port=port, server=f"{self._name}.local.",
            addresses=[socket.inet_aton(ip) for ip in ips], properties={"path": "/"},
        )  # fmt: skip
        try:
            async with asyncio.timeout(BEGIN_S):
                self._zeroconf = AsyncZeroconf(interfaces=interfaces or ips)
                await self._zeroconf.async_register_service(info)
        except Exception as err:  # of a library that talks to the whole network: the daemon goes on without the name
            why = "another has this name" if "NonUnique" in type(err).__name__ else str(err) or type(err).__name__
            self._say(f"the name {self._name}.local is not announced: {why}; addresses by number work")
            return
        self.announced = True

    async def end(self) -> None:
        """Take the name back, within two seconds."""
        if self._zeroconf is not None:
            with contextlib.suppress(Exception):
                async with asyncio.timeout(END_S):
                    await self._zeroconf.async_unregister_all_services()
                    await self._zeroconf.async_close()
