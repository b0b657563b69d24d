"""A note on the desktop, by `notify-send`, which every desktop's packages have."""

from __future__ import annotations

import html
import shutil

from .bounded import run_bounded
from .outlet import Message, WayFault

LIMIT_S = 5.0


def check() -> str:
    """The program's path. Raises `WayFault`."""
    program = shutil.which("notify-send")
    if program is None:
        raise WayFault("notify-send is not there: install it (Debian: libnotify-bin), or set desktop = false")
    return program


def notify(message: Message) -> None:
    """Show a note that stays until it is clicked away. Raises `WayFault`."""
    code, _, errors = run_bounded(
        [check(), "--app-name=uvdose", "--urgency=critical", "--expire-time=0", "--",
         message.title, html.escape(message.body, quote=False)], b"", LIMIT_S,
    )  # fmt: skip
    if code:
        said = errors.decode("utf-8", "replace").strip().splitlines()
        why = f": {said[-1][:120]}" if said else ""
        raise WayFault(f"notify-send ended with {code}{why}; a desktop must be there for the daemon's user")
