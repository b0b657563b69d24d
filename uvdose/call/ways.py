"""The ways by which calls go out beside the buzzer, the terminal and MQTT: the desktop, and push.

Push gets every call but those of a test strip's steps: who asked for a look wants it where they are, and few ask for
many. At a strip the hand is on the card already, and a message that comes seconds late would move it late. Alarms of a
sensor go out as well while a print lies in its light.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path

from ..config import CallSettings
from ..exposure.calls import READY, STEP
from ..exposure.outcome import Ring
from ..messages import EventDoc
from . import desktop, push
from .bounded import end_all
from .outlet import Message, Outlet, WayFault

AGAIN_S = 60.0  # a call that insists is told again so often, not as often as the buzzer
MOST_TOLD = 5
NOT_PUSHED = (STEP, READY)
TEST_KEY = (0, "test")
NOT_AFAR = ("slow", "chosen", "backlog")  # to be mended at the computer, some time

DESKTOP, PUSH = "desktop", "push"


class Ways:
    """Runs on the daemon's loop; each way has a thread of its own. folder: of a relative push file.

    changed(way, line): a way has come into a trouble, or out of it; called from any thread.
    """

    def __init__(self, settings: CallSettings, folder: Path, bench: str, changed: Callable[[str, str], None]) -> None:
        self._title = f"uvdose {bench}"
        self._told: dict[tuple[int, str], tuple[int, float]] = {}
        self._checks: dict[str, Callable[[], object]] = {}
        self.outlets: dict[str, Outlet] = {}
        if settings.desktop:
            self._add(DESKTOP, desktop.notify, desktop.LIMIT_S, desktop.check, changed)
        if settings.push_file is not None:
            path = folder / os.path.expanduser(settings.push_file)
            self._add(PUSH, partial(push.push, path), push.LIMIT_S, partial(push.check, path), changed)

    def _add(
        self, name: str, send: Callable[[Message], None], limit_s: float, check: Callable[[], object],
        changed: Callable[[str, str], None],
    ) -> None:
        self.outlets[name] = Outlet(name, send, limit_s, changed)
        self._checks[name] = check

    def check(self) -> None:
        """Tell what keeps a way from working, where that can be known before the first call."""
        for name, check in self._checks.items():
            try:
                check()
            except WayFault as fault:
                self.outlets[name].fail(fault.line)

    def call(self, ring: Ring, words: str, now_s: float) -> None:
        """A call is on, for the first time or still. Never waits."""
        key = (ring.exposure, ring.key)
        times, last_s = self._told.get(key, (0, now_s - AGAIN_S))
        if times >= MOST_TOLD or now_s - last_s < AGAIN_S:
            return
        self._told[key] = (times + 1, now_s)
        for name, outlet in self.outlets.items():
            if name != PUSH or ring.kind not in NOT_PUSHED:
                outlet.give(Message(key, self._title, words))

    def hush(self, exposure: int, key: str) -> None:
        """A call is done with."""
        self._told.pop((exposure, key), None)
        for outlet in self.outlets.values():
            outlet.hush((exposure, key))

    def of_sensor(self, event: EventDoc, words: str, lit: bool) -> None:
        """An alarm of a sensor came or went. lit: a print lies in its light, so that who waits for a call is told."""
        alarm = str(event.data.get("alarm"))
        key = (0, f"{event.sensor} {alarm}")
        if event.event == "cleared":
            self.hush(*key)  # what was not sent yet need not go any more
        elif event.event == "alarm" and lit and alarm not in NOT_AFAR:
            for outlet in self.outlets.values():
                outlet.give(Message(key, self._title, words))

    def test(self, way: str, done: Callable[[str], None]) -> None:
        """Send a test message; `done` hears what went wrong, from any thread."""
        self.outlets[way].give(Message(TEST_KEY, self._title, "this is a test call"), done)

    def look(self) -> None:
        """See that every way turns."""
        for outlet in self.outlets.values():
            outlet.look()

    def troubles(self) -> list[str]:
        """One line for each way by which calls do not go out."""
        return [trouble_words(o.name, o.trouble) for o in self.outlets.values() if o.trouble]

    def close(self) -> None:
        """No more."""
        for outlet in self.outlets.values():
            outlet.close()
        end_all()


def trouble_words(way: str, line: str) -> str:
    """What the trouble of a way means."""
    return f"calls do not go out by {way}: {line}; the other ways go on, and `uvdose call test --way {way}` tries it"


def event_words(event: EventDoc) -> str:
    """What befell a sensor."""
    if event.event == "gap":
        return f"{event.data.get('seconds', 0):.0f} s without a reading, {event.data.get('kind')}"
    return str(event.data.get("line") or event.data.get("alarm"))
