"""The systemd unit of a daemon, as text. What it forbids is what a user's own service manager can forbid."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

from ..model import Refusal

NAME = "uvdose"
NAMES = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,60}")

# Nothing that needs a file system of its own (ProtectSystem, PrivateDevices and the like): a user's manager makes one
# only where it may make user namespaces, and a serial port that is plugged in later would be missing there.
# No CapabilityBoundingSet: a manager without privileges cannot drop what it does not have, and the start would fail.
# No MemoryDenyWriteExecute: libraries that call back through libffi need such memory.
_UNIT = """\
[Unit]
Description=uvdose, counts the light of prints in the frame
StartLimitIntervalSec=600
StartLimitBurst=30

[Service]
Type=notify
NotifyAccess=main
ExecStart={start}
Restart=on-failure
RestartSec=2
TimeoutStartSec=300
TimeoutStopSec=30
WatchdogSec=20
StandardOutput=journal
StandardError=journal
SyslogIdentifier={name}
{environment}UMask=0077
NoNewPrivileges=yes
LockPersonality=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
RestrictNamespaces=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallErrorNumber=EPERM
LimitCORE=0

[Install]
WantedBy=default.target
"""


def unit_text(home: Path, name: str = NAME) -> str:
    """The unit for the daemon of a home, run by this very Python."""
    start = " ".join(quoted(word) for word in (sys.executable, "-m", "uvdose", "--home", str(home), "serve"))
    return _UNIT.format(start=start, name=name, environment=_environment())


def unit_file(name: str = NAME) -> Path:
    """Where a user's own units lie. A relative XDG_CONFIG_HOME counts for nothing, as it does for systemd."""
    base = Path(os.environ.get("XDG_CONFIG_HOME", ""))
    if not base.is_absolute():
        try:
            base = Path("~").expanduser().absolute() / ".config"
        except RuntimeError:
            raise Refusal("this user has no home directory: set HOME to one") from None
    return base / "systemd" / "user" / f"{name}.service"


def quoted(word: str) -> str:
    """A word of ExecStart or Environment: systemd takes % and $ for its own, and undoes backslashes in quotes.

    Raises `Refusal` for what would end the line, or is no UTF-8: a unit is text.
    """
    if re.search(r"[\x00-\x1f\x7f\ud800-\udfff]", word):
        raise Refusal(f"{word!r} cannot stand in a unit: choose a path without control characters, in UTF-8")
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{escaped}"' if not re.fullmatch(r"[A-Za-z0-9_./:=@+-]+", escaped) else escaped


def _environment() -> str:
    """Where Python is told to look for modules, the service must be told, too."""
    places = [str(Path(place).absolute()) for place in os.environ.get("PYTHONPATH", "").split(os.pathsep) if place]
    line = "PYTHONPATH=" + os.pathsep.join(places)
    return f"Environment={quoted(line).replace('$$', '$')}\n" if places else ""
