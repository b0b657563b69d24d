"""Arming: gives each node the register at which it calls by itself, should the computer be gone by then.

One command is under way to a node at a time. What its slots hold is believed by its answers alone, and is unknown after
a link has opened. It is looked at once a second and at each answer, so that nothing here needs a timer of its own.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from ..exposure.arming import Want
from ..exposure.calls import PATTERNS, REACHED
from ..exposure.news import ARMED_FLAG, REACHED_FLAG

SLOTS = range(4)
ANSWER_S = 1.0
LONGEST_WAIT_S = 60.0
LEASE_S, RENEW_S = 30, 10.0
ANY_FLAG = ARMED_FLAG | REACHED_FLAG
SETTLED_S = 3.0  # so long after the last answer the flags of a line that came since tell of the slots as they are
SILENT_TRIES, REFUSED_TRIES = 3, 2


class Held(msgspec.Struct, frozen=True):
    """What a slot is known to hold."""

    exposure: int
    register: int


class _Asked(msgspec.Struct, frozen=True):
    """The command under way, and what its slot will hold when it is answered."""

    text: str
    slot: int | None
    held: Held | None
    sent_s: float


class _Node:
    """One node. slots: what they hold, None for nothing; one that is not there is unknown."""

    def __init__(self) -> None:
        self.boot: int | None = None
        self.flags = 0
        self.slots: dict[int, Held | None] = {}
        self.wants: dict[int, Want] = {}
        self.asked: _Asked | None = None
        self.tries = 0
        self.due_s = 0.0
        self.renew_s = 0.0
        self.answered_s = -SETTLED_S - 1
        self.uptime_ms = self.answered_ms = -1  # of the newest line, and of the newest when it answered last
        self.inquire: list[int] = []
        self.inquired = False
        self.refused = ""
        self.told_refused = False

    def slot_of(self, exposure: int) -> int | None:
        """The slot that an exposure has."""
        return next((slot for slot, held in self.slots.items() if held is not None and held.exposure == exposure), None)

    def next_command(self, now_s: float) -> tuple[str, int | None, Held | None] | None:
        """What is to be said next; None for nothing."""
        if self._may_lose_a_call():
            self.inquired, self.inquire = True, [slot for slot in SLOTS if slot not in self.slots]
        if self.inquire:
            return f"slot {self.inquire[0]}", None, None
        for slot, held in self.slots.items():
            if held is not None and held.exposure not in self.wants:
                return f"disarm {slot}", slot, None
        for exposure, want in sorted(self.wants.items()):
            if want.register is None:
                continue
            own = self.slot_of(exposure)
            held = self.slots[own] if own is not None else None
            if held is not None and abs(held.register - want.register) <= want.slack:
                continue
            free = own if own is not None else self._free()
            if free is not None:
                held = Held(exposure, want.register)
                return f"arm {free} {want.register} {PATTERNS[REACHED]}", free, held
        if self.flags & ANY_FLAG and all(w.register is not None for w in self.wants.values()):
            for slot in SLOTS:  # left from before the link opened
                if slot not in self.slots:
                    return f"disarm {slot}", slot, None
        if now_s >= self.renew_s and any(self.slots.values()):
            return f"lease {LEASE_S}", None, None
        return None

    def _free(self) -> int | None:
        """A slot that holds nothing of ours; while one is to stay, rather one that is known to hold nothing."""
        free = [slot for slot in SLOTS if self.slots.get(slot) is None]
        if any(w.register is None for w in self.wants.values()):
            free.sort(key=lambda slot: slot not in self.slots)
        return free[0] if free else None

    def _may_lose_a_call(self) -> bool:
        """Whether one of the unknown slots is the one that calls for a print now: arming it would end that."""
        keeps = any(w.register is None and self.slot_of(exposure) is None for exposure, w in self.wants.items())
        return not self.inquired and keeps and bool(self.flags & REACHED_FLAG) and len(self.slots) < len(SLOTS)


class Arming:
    """Times are real seconds, passed in.

    send(sensor, command): hand a command to a node; False when it has no way there now. armed(sensor, slot, held): it
    has taken a value. called(sensor, register, uptime_ms): it says when it reached one. refused(sensor, line): it
    cannot be armed; told once for each opening of its link.
    """

    def __init__(
        self,
        send: Callable[[str, str], bool],
        armed: Callable[[str, int, Held], None],
        called: Callable[[str, int, int], None],
        refused: Callable[[str, str], None],
    ) -> None:
        self._send = send
        self._armed = armed
        self._called = called
        self._refused = refused
        self._nodes: dict[str, _Node] = {}
        # By sensor and exposure, what was armed last: a node may have called by it while nobody listened.
        self._last: dict[str, dict[int, Held]] = {}

    def remember(self, sensor: str, held: Held) -> None:
        """What the last run armed."""
        self._last.setdefault(sensor, {})[held.exposure] = held

    def inquire(self, sensor: str) -> None:
        """A node has called by itself while nobody listened: it is asked when, before its slots are filled anew."""
        self._nodes.setdefault(sensor, _Node()).inquire = list(SLOTS)

    def look(
        self, sensor: str, boot: int, uptime_ms: int, flags: int, wants: dict[int, Want], now_s: float
    ) -> None:
        """What the node's newest line said, and what it should hold armed."""
        node = self._nodes.setdefault(sensor, _Node())
        if node.boot is not None and boot != node.boot:
            # It counts from 0, and holds nothing; or, where it had lost its sensor, what was left to each slot.
            node.slots = {} if flags & ANY_FLAG else dict.fromkeys(SLOTS)
            self._last.pop(sensor, None)
        elif not flags & ANY_FLAG and uptime_ms != node.answered_ms and now_s - node.answered_s > SETTLED_S:
            node.slots = dict.fromkeys(SLOTS)  # it holds nothing, or has lost it
        node.boot, node.uptime_ms, node.flags, node.wants = boot, uptime_ms, flags, wants
        if node.asked is not None and now_s - node.asked.sent_s >= ANSWER_S:
            if node.asked.slot is not None:
                node.slots.pop(node.asked.slot, None)  # it may have been taken
            self._wait(sensor, node, now_s, "it does not answer", SILENT_TRIES)
        self._go(sensor, node, now_s)

    def link_up(self, sensor: str) -> None:
        """A link opened: who answers there is to be asked anew."""
        self._nodes.pop(sensor, None)

    def answer(self, sensor: str, text: str, now_s: float) -> None:
        """A node answered. An `err` is taken for the command under way here, but for the one that only `now` gets."""
        node = self._nodes.get(sensor)
        if node is None or node.asked is None or text == "err sensor":
            return
        asked, words = node.asked, text.split(" ")
        if words[0] == "err":
            final = text.split(" ")[1:2] != ["checksum"]
            self._wait(sensor, node, now_s, f"it answered {text!r}", REFUSED_TRIES if final else 1 << 30)
            return
        if words[1:2] != asked.text.split(" ")[:1]:
            return
        if words[1] == "slot":
            if words[:3] == ["ok", *asked.text.split(" ")]:  # not one that comes twice
                node.asked, node.inquire = None, node.inquire[1:]
                self._told(sensor, node, int(words[2]), words[3:])
                self._go(sensor, node, now_s)
            return
        if len(words) > 2 and text != f"ok {asked.text}":
            self._wait(sensor, node, now_s, f"it answered {text!r} to {asked.text!r}", SILENT_TRIES)
            return
        node.asked, node.tries, node.refused, node.answered_s = None, 0, "", now_s
        node.told_refused = False
        node.answered_ms = node.uptime_ms
        node.renew_s = now_s + RENEW_S if asked.slot is None else node.renew_s
        if asked.slot is not None:
            gone = node.slots.get(asked.slot)
            if gone is not None and (asked.held is None or asked.held.exposure != gone.exposure):
                self._last.get(sensor, {}).pop(gone.exposure, None)
            node.slots[asked.slot] = asked.held
            if asked.held is not None:
                self.remember(sensor, asked.held)
                self._armed(sensor, asked.slot, asked.held)
        self._go(sensor, node, now_s)

    def _told(self, sensor: str, node: _Node, slot: int, words: list[str]) -> None:
        """What a slot holds, in the node's words: nothing, or register, pattern and when it was reached."""
        if words == ["-"]:
            node.slots[slot] = None
        elif len(words) == 3 and words[0].isdigit():
            mine = (held for held in self.armed_last(sensor) if held.register == int(words[0]))
            if (held := next(mine, None)) is not None and node.slot_of(held.exposure) in (None, slot):
                node.slots[slot] = held
            if words[2].isdigit():
                self._called(sensor, int(words[0]), int(words[2]))

    def holds(self, sensor: str) -> set[int]:
        """The exposures for which a node calls by itself."""
        node = self._nodes.get(sensor)
        return {held.exposure for held in node.slots.values() if held is not None} if node is not None else set()

    def armed_last(self, sensor: str) -> list[Held]:
        """What was armed last for each exposure, though it may have been reached or taken back since."""
        return list(self._last.get(sensor, {}).values())

    def trouble(self, sensor: str) -> str:
        """Why a node that should be armed is not; empty when it is, or when nothing is to be armed."""
        node = self._nodes.get(sensor)
        if node is None or not node.wants:
            return ""
        if node.refused:
            return f"its node will not call by itself: {node.refused}"
        if len(node.wants) > len(SLOTS):
            return f"its node calls by itself for {len(SLOTS)} of {len(node.wants)} prints"
        return ""

    def _go(self, sensor: str, node: _Node, now_s: float) -> None:
        if node.asked is not None or now_s < node.due_s:
            return
        command = node.next_command(now_s)
        if command is not None and self._send(sensor, command[0]):
            node.asked = _Asked(*command, now_s)

    def _wait(self, sensor: str, node: _Node, now_s: float, why: str, tries: int) -> None:
        """Try again after a while, longer each time; and say so once when it has been tried often enough."""
        if node.asked is not None and node.asked.text.startswith("slot"):
            node.inquire = []  # it knows no such command, or the moment has passed
        node.asked = None
        node.tries += 1
        node.due_s = now_s + min(LONGEST_WAIT_S, 0.5 * 2.0 ** min(node.tries, 8))
        if node.tries >= tries:
            node.refused = why
            if not node.told_refused:
                node.told_refused = True
                self._refused(sensor, f"the node will not call by itself: {why}")
