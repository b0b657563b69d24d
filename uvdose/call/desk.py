"""The desk: sees each call through until it is known to have sounded, or the person has acknowledged it.

A call is sounded by the buzzer of the sensor's node where there is one, and told on the terminal always. It is
pending until the node has answered `ok buzz`; without an answer it is tried again, also when a link opens. A call
that insists (the target) sounds again and again until it is hushed. One buzz at a time is under way to a node, so
that each answer has one owner.
"""

from __future__ import annotations

from collections.abc import Callable

from ..exposure.calls import PATTERNS, REACHED
from ..exposure.outcome import Ring

ANSWER_S = 1.0
AGAIN_S = 8.0
SOUND_S = {REACHED: 5}
SHORT_S = 2


class _Pending:
    """One call that is not done with."""

    __slots__ = ("due_s", "proven", "ring", "told", "told_s", "tries")

    def __init__(self, ring: Ring, due_s: float, told: bool) -> None:
        self.ring = ring
        self.due_s = due_s
        self.told = told
        self.proven = False
        self.told_s = due_s - AGAIN_S
        self.tries = 0

    def wait(self, now_s: float) -> None:
        """Try again after a while, longer each time."""
        self.tries += 1
        self.due_s = now_s + min(AGAIN_S, 0.25 * 2.0 ** min(self.tries, 8))


class Desk:
    """Times are real seconds, passed in.

    send(sensor, command): hand a command to a node; False when it has no way there now. has_node(sensor): whether
    the sensor has a way back at all. tell(ring, again): show a call on the terminal; again: not for the first time.
    proven(ring): it is known to have sounded.
    """

    def __init__(
        self,
        send: Callable[[str, str], bool],
        has_node: Callable[[str], bool],
        tell: Callable[[Ring, bool], None],
        proven: Callable[[Ring], None],
    ) -> None:
        self._send = send
        self._has_node = has_node
        self._tell = tell
        self._proven = proven
        self._calls: dict[tuple[int, str], _Pending] = {}
        self._sounding: dict[str, float] = {}
        # The one buzz under way to each node: whose it is (None: nobody's any more), and when it went out.
        self._under_way: dict[str, tuple[tuple[int, str] | None, float]] = {}
        # Nodes from which no answer came in time: a buzz may still lie in a broker or a buffer on its way there.
        self._unheard: set[str] = set()

    def ring(self, ring: Ring, now_s: float, again: bool = False) -> None:
        """A new call; again: one that a restart has left open."""
        self._calls[(ring.exposure, ring.key)] = _Pending(ring, now_s, again)
        self.tick(now_s)

    def hush(self, exposure: int, key: str, now_s: float) -> None:
        """The person has acknowledged a call, or another has taken its place: it is never sounded again."""
        gone = self._calls.pop((exposure, key), None)
        if gone is None:
            return
        sensor = gone.ring.sensor
        whose, sent_s = self._under_way.get(sensor, (None, now_s))
        if whose == (exposure, key):
            self._under_way[sensor] = (None, sent_s)  # its answer is still to come, and proves nothing
        late = whose == (exposure, key) or sensor in self._unheard
        # Another target of this sensor is reached: its call is to sound on, and the node's own one for it with it.
        if any(p.ring.sensor == sensor and p.ring.insist for p in self._calls.values()):
            return
        if self._sounding.pop(sensor, 0) > now_s or late:
            self._send(sensor, "quiet")  # right behind what is still under way, so that this does not sound on

    def count_in(self, sensor: str, seconds: int, now_s: float) -> None:
        """Beeps before a start; no call, and its answer proves none."""
        if self._has_node(sensor) and self._send(sensor, f"buzz {PATTERNS['count-in']} {seconds}"):
            self._under_way[sensor] = (None, now_s)

    def beep(self, sensor: str, command: str, now_s: float) -> None:
        """A short buzz that is no call; left out where it would sound in place of one, or be taken for its proof."""
        busy = sensor in self._under_way or self._sounding.get(sensor, 0) > now_s
        if busy or any(pending.ring.sensor == sensor for pending in self._calls.values()):
            return
        if self._has_node(sensor) and self._send(sensor, command):
            self._under_way[sensor] = (None, now_s)

    def link_up(self, sensor: str, now_s: float) -> None:
        """A link opened: what is pending there is tried at once."""
        if self._under_way.pop(sensor, None) is not None:
            self._unheard.add(sensor)
        for pending in self._calls.values():
            if pending.ring.sensor == sensor and not pending.proven:
                pending.tries, pending.due_s = 0, now_s
        self.tick(now_s)

    def answer(self, sensor: str, text: str, now_s: float) -> None:
        """A node answered: `ok buzz` proves the call under way; without it the call is tried again."""
        if text.split(" ")[:2] != ["ok", "buzz"]:
            return
        self._unheard.discard(sensor)
        key, _ = self._under_way.pop(sensor, (None, now_s))
        if key is not None and key in self._calls:
            self._calls[key].due_s = now_s + AGAIN_S
            self._prove(key, self._calls[key])
        self.tick(now_s)

    def tick(self, now_s: float) -> None:
        """Send what is due."""
        for sensor, (key, sent_s) in list(self._under_way.items()):
            if now_s - sent_s >= ANSWER_S:
                del self._under_way[sensor]
                self._unheard.add(sensor)
                if key is not None and key in self._calls:
                    self._calls[key].wait(now_s)
        for key, pending in list(self._calls.items()):
            sensor = pending.ring.sensor
            if now_s < pending.due_s or sensor in self._under_way:
                continue
            if now_s - pending.told_s >= AGAIN_S:
                pending.told_s = now_s
                self._tell(pending.ring, pending.told)
                pending.told = True
            if not self._has_node(sensor):
                pending.due_s = now_s + AGAIN_S
                self._prove(key, pending)
            else:
                self._sound(key, pending, now_s)

    def due_s(self) -> float | None:
        """When `tick` has something to do."""
        dues = [sent_s + ANSWER_S for _, sent_s in self._under_way.values()]
        dues += [p.due_s for p in self._calls.values() if p.ring.sensor not in self._under_way]
        return min(dues, default=None)

    def _sound(self, key: tuple[int, str], pending: _Pending, now_s: float) -> None:
        ring = pending.ring
        seconds = SOUND_S.get(ring.kind, SHORT_S)
        if self._send(ring.sensor, f"buzz {PATTERNS[ring.kind]} {seconds}"):
            self._under_way[ring.sensor] = (key, now_s)
            self._sounding[ring.sensor] = now_s + seconds
        else:
            pending.wait(now_s)

    def _prove(self, key: tuple[int, str], pending: _Pending) -> None:
        if not pending.proven:
            pending.proven = True
            self._proven(pending.ring)
        if not pending.ring.insist:
            self._calls.pop(key, None)
