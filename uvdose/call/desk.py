"""The desk: sees each call through until it is known to have sounded, or the person has acknowledged it.

A call is sounded by the buzzer of the sensor's node where there is one, and told on the terminal always. It is
pending until the node has answered `ok buzz`; without an answer it is tried again, also when a link opens. A call
that insists (the target) sounds again and again until it is hushed. One buzz at a time is under way to a node, so
that each answer has one owner.
"""

from __future__ import annotations

from collections.abc import Callable

from ..exposure.bench import Ring
from ..exposure.calls import PATTERNS, REACHED

ANSWER_S = 1.0
AGAIN_S = 8.0
SOUND_S = {REACHED: 5}
SHORT_S = 2


class _Pending:
    """One call under way. sent_s: when a buzz for it went out that has not been answered yet."""

    __slots__ = ("due_s", "proven", "ring", "sent_s", "told_s", "tries")

    def __init__(self, ring: Ring, due_s: float) -> None:
        self.ring = ring
        self.due_s = due_s
        self.proven = False
        self.sent_s: float | None = None
        self.told_s = due_s - AGAIN_S
        self.tries = 0

    def wait(self, now_s: float) -> None:
        """Try again after a while, longer each time."""
        self.sent_s = None
        self.tries += 1
        self.due_s = now_s + min(AGAIN_S, 0.25 * 2.0 ** min(self.tries, 8))


class Desk:
    """Times are real seconds, passed in.

    send(sensor, command): hand a command to a node; False when it has no way there now. has_node(sensor): whether
    the sensor has a way back at all. tell(ring): show a call on the terminal. proven(ring): it is known to have
    sounded.
    """

    def __init__(
        self,
        send: Callable[[str, str], bool],
        has_node: Callable[[str], bool],
        tell: Callable[[Ring], None],
        proven: Callable[[Ring], None],
    ) -> None:
        self._send = send
        self._has_node = has_node
        self._tell = tell
        self._proven = proven
        self._calls: dict[tuple[int, str], _Pending] = {}
        self._sounding: dict[str, float] = {}

    def ring(self, ring: Ring, now_s: float) -> None:
        """A new call, or one that a restart has left open."""
        self._calls[(ring.exposure, ring.key)] = _Pending(ring, now_s)
        self.tick(now_s)

    def hush(self, exposure: int, key: str, now_s: float) -> None:
        """The person has acknowledged a call, or another has taken its place: it is never sounded again."""
        gone = self._calls.pop((exposure, key), None)
        if gone is not None and self._sounding.get(gone.ring.sensor, 0) > now_s:
            self._sounding.pop(gone.ring.sensor)
            self._send(gone.ring.sensor, "quiet")

    def link_up(self, sensor: str, now_s: float) -> None:
        """A link opened: what is pending there is tried at once."""
        for pending in self._calls.values():
            if pending.ring.sensor == sensor and not pending.proven:
                pending.sent_s, pending.tries, pending.due_s = None, 0, now_s
        self.tick(now_s)

    def answer(self, sensor: str, text: str, now_s: float) -> None:
        """A node answered: `ok buzz` proves the call under way; without it the call is tried again."""
        if text.split(" ")[:2] != ["ok", "buzz"]:
            return
        for key, pending in list(self._calls.items()):
            if pending.ring.sensor == sensor and pending.sent_s is not None:
                pending.sent_s = None
                pending.due_s = now_s + AGAIN_S
                self._prove(key, pending)
                break
        self.tick(now_s)

    def tick(self, now_s: float) -> None:
        """Send what is due."""
        for key, pending in list(self._calls.items()):
            if pending.sent_s is not None and now_s - pending.sent_s >= ANSWER_S:
                pending.wait(now_s)
            if pending.sent_s is not None or now_s < pending.due_s:
                continue
            if now_s - pending.told_s >= AGAIN_S:
                pending.told_s = now_s
                self._tell(pending.ring)
            if not self._has_node(pending.ring.sensor):
                pending.due_s = now_s + AGAIN_S
                self._prove(key, pending)
            elif not self._busy(pending.ring.sensor):
                self._sound(pending, now_s)

    def due_s(self) -> float | None:
        """When `tick` has something to do."""
        dues = [
            p.due_s if p.sent_s is None else p.sent_s + ANSWER_S
            for p in self._calls.values()
            if p.sent_s is not None or not self._busy(p.ring.sensor)
        ]
        return min(dues, default=None)

    def _busy(self, sensor: str) -> bool:
        return any(p.ring.sensor == sensor and p.sent_s is not None for p in self._calls.values())

    def _sound(self, pending: _Pending, now_s: float) -> None:
        ring = pending.ring
        seconds = SOUND_S.get(ring.kind, SHORT_S)
        if self._send(ring.sensor, f"buzz {PATTERNS[ring.kind]} {seconds}"):
            pending.sent_s = now_s
            self._sounding[ring.sensor] = now_s + seconds
        else:
            pending.wait(now_s)

    def _prove(self, key: tuple[int, str], pending: _Pending) -> None:
        if not pending.proven:
            pending.proven = True
            self._proven(pending.ring)
        if not pending.ring.insist:
            self._calls.pop(key, None)
