"""Which names and addresses are this machine's: what a phone can be told, and what a Host may say."""

from __future__ import annotations

import contextlib
import fcntl
import ipaddress
import re
import socket
import struct
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from ..clock import real_s

LOOK_EVERY_S = 5.0

_SIOCGIFFLAGS, _SIOCGIFADDR = 0x8913, 0x8915
_UP, _LOOPBACK, _RUNNING = 0x1, 0x8, 0x40
_INNER = re.compile(r"^(docker|veth|br-|virbr|vnet|lxc|lxd|podman|cni|vmnet|vboxnet|dummy|ifb)")
_NAME = re.compile(r"^[a-z0-9]([a-z0-9.-]{0,250}[a-z0-9])?$")
LOOPBACK = ("localhost", "127.0.0.1", "::1")


class Address(NamedTuple):
    """An IPv4 address of this machine. real: its interface leads to a network that a phone can be in."""

    interface: str
    ip: str
    real: bool


def addresses() -> list[Address]:
    """The addresses now, those of real interfaces first; loopback is not among them."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):  # an interface without an IPv4 address
                flags = struct.unpack("16xH", _ask(probe, _SIOCGIFFLAGS, name)[:18])[0]
                ip = socket.inet_ntoa(_ask(probe, _SIOCGIFADDR, name)[20:24])
                if flags & _UP and flags & _RUNNING and not flags & _LOOPBACK:
                    found.append(Address(name, ip, not _INNER.match(name)))
    return sorted(found, key=lambda a: (not a.real, not Path(f"/sys/class/net/{a.interface}/device").exists(), a.ip))


def _ask(probe: socket.socket, what: int, interface: str) -> bytes:
    return fcntl.ioctl(probe.fileno(), what, struct.pack("256s", interface.encode()[:15]))


def host_name(host: str) -> str | None:
    """The name or address in a Host header, small and without port; None for what is none."""
    text = host.lower()
    if text.startswith("["):
        inside, bracket, port = text[1:].partition("]")
        if not bracket or (port and not re.fullmatch(r":\d{1,5}", port)):
            return None
        try:
            return str(ipaddress.IPv6Address(inside))
        except ValueError:
            return None
    name, colon, port = text.partition(":")
    if colon and not re.fullmatch(r"\d{1,5}", port):
        return None
    name = name.removesuffix(".")
    return name if _NAME.match(name) else None


class Hosts:
    """The names that the daemon serves. A page elsewhere can make a name of its own point here; that one is not served.

    names: the mDNS name and those of the settings. look: gives the machine's addresses, which may change.
    """

    def __init__(self, names: list[str], look: Callable[[], list[Address]] = addresses) -> None:
        own = socket.gethostname().lower().partition(".")[0]
        self._given = {n.lower() for n in names}
        self._names = self._given | ({own, f"{own}.local"} if _NAME.match(own) else set())
        self._look = look
        self._known: set[str] = set()
        self._looked_s: float | None = None

    @property
    def names(self) -> list[str]:
        """The names besides the addresses."""
        return sorted(self._names)

    def serves(self, host: str, inside: bool) -> bool:
        """Whether a Host is ours. inside: it came by the socket of this machine alone, which the network cannot name.

        The port is not compared, since tunnels change it; an Origin is compared with all of the Host.
        """
        name = host_name(host)
        if name is None:
            return False
        if name in LOOPBACK or name in self._given or (name.startswith("127.") and _is_ip(name)):
            return True
        return not inside and (name in self._names or name in self._addresses())

    def _addresses(self) -> set[str]:
        now_s = real_s()
        if self._looked_s is None or now_s - self._looked_s > LOOK_EVERY_S:
            self._looked_s = now_s
            self._known = {a.ip for a in self._look()}
        return self._known


def _is_ip(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
