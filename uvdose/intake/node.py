"""A simulated node, pure: light in, native lines out. Time comes in as whole milliseconds since its power-up.

It samples at 100 Hz. A sample is a whole number of counts, held for 10 ms; the register adds counts x ms, so that
it is an exact integer at every millisecond and its dose is known without any rounding.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from .node_words import Fault, decimal, frame, natural, unframe

TICK_MS = 10
MASK32 = 0xFFFFFFFF
SLOTS = range(4)
WORDS = {"who": 0, "now": 0, "buzz": 2, "quiet": 0, "arm": 3, "disarm": 1, "slot": 1, "lease": 1, "rate": 1}
PATTERNS = range(1, 8)
CALL_S, CALL_EACH_S, CALL_LASTS_S = 10.0, 30.0, 1800.0
CHIRP_EACH_S = 10.0
LONGEST_BUZZ_S = 3600.0
LONGEST_LEASE_S = 86400.0
NAME, FIRMWARE, SENSOR, GAIN = "simulated", "1", "invented", "1"

_BUZZER, _ARMED, _REACHED, _KEPT = 1, 2, 4, 8


class Buzz(NamedTuple):
    """A buzz that began: node ms, pattern, for how many seconds, and the exact register at that moment."""

    at_ms: int
    pattern: int
    seconds: float
    register: int


class _Slot:
    """An armed value. bursts: of the node's own call, how many have sounded; None while it is silent."""

    def __init__(self, register: int, pattern: int) -> None:
        self.register = register
        self.pattern = pattern
        self.reached_ms: int | None = None
        self.bursts: int | None = None

    def next_burst_ms(self) -> int | None:
        """When it sounds next."""
        if self.reached_ms is None or self.bursts is None or self.bursts * CALL_EACH_S >= CALL_LASTS_S:
            return None
        return self.reached_ms + round(self.bursts * CALL_EACH_S * 1000)


class SimulatedNode:
    """boot: 32 bit, drawn at each power-up. light: net level in counts at node seconds, a pure function.

    full_scale, zero: in counts; the zero is added to the light as a dark reading is. rate_hz: lines per second.
    Times given must not go back; one that does is taken as now. first_seq, first_uptime_ms: what its lines count from,
    so that a node near the end of its 32 bits need not run for weeks; times given still count from 0. kept: a reset
    without power loss kept boot, seq, uptime and register, which its lines say from then on.
    """

    def __init__(
        self, boot: int, light: Callable[[float], float], full_scale: int, zero: float = 0.0, rate_hz: float = 1.0,
        *, first_seq: int = 0, first_uptime_ms: int = 0,
    ) -> None:
        self.boot = boot & MASK32
        self.full_scale = full_scale
        self.zero = zero
        self.presses = 0
        self.buzzes: list[Buzz] = []
        self.chirps_ms: list[int] = []
        self.register = 0
        self.sat_ms = 0
        self.now_ms = 0
        self.first_uptime_ms = first_uptime_ms
        self.kept = False
        self._light = light
        self._seq = first_seq & MASK32
        self._sample_tick = -1
        self._sample = 0
        self._line_register = 0
        self._line_ms = 0
        self._buzz_end_ms = 0
        self._sounds_slot: int | None = None  # whose call the buzzer sounds now, if it is the node's own
        self._lease_ms = 0
        self._chirp_ms = 0
        self._line_asked = False
        self._slots: dict[int, _Slot] = {}
        self._set_rate(rate_hz)

    # what a test or a bench does to it ----------------------------------------------------------------------

    @property
    def next_line_ms(self) -> int:
        """When the next line is due, unless `now` asks for one before."""
        exact = self._rate_from_ms + self._rate_count * 1000.0 / self._rate_hz
        return self.now_ms if self._line_asked else max(self.now_ms, math.ceil(exact / TICK_MS - 1e-9) * TICK_MS)

    @property
    def flags(self) -> int:
        """The flags as a line carries them."""
        flags = (_BUZZER if self.now_ms < self._buzz_end_ms else 0) | (_KEPT if self.kept else 0)
        for slot in self._slots.values():
            flags |= _ARMED if slot.reached_ms is None else _REACHED
        return flags

    def press(self) -> None:
        """The button is pressed once: the node tells it at once, and ends a call of its own."""
        self.presses += 1
        self._line_asked = True
        self._end_own_calls()

    def advance(self, to_ms: int) -> list[bytes]:
        """Let time pass; the lines that fall due up to and including `to_ms`."""
        lines = []
        while (due := self.next_line_ms) <= to_ms:
            self._pass(due)
            asked, self._line_asked = self._line_asked, False
            lines.append(self._line())
            self._rate_count += not asked
        self._pass(to_ms)
        return lines

    def command(self, line: bytes, at_ms: int) -> list[bytes]:
        """A command as it came, at node ms; what the node says, lines that fell due before it included."""
        lines = self.advance(at_ms)
        if not line.strip():
            return lines
        text = unframe(line)
        if text is None:
            return [*lines, frame("err checksum")]
        words = text.split()
        self._chirp_ms = self.now_ms + self._lease_ms
        try:
            lines += self._obey(words[0] if words else "", words[1:])
        except Fault as fault:
            lines.append(frame(f"err {fault}"))
        return lines

    def total(self, ms: int) -> int:
        """The exact register at any node ms, summed anew from the light alone."""
        whole, rest = divmod(ms, TICK_MS)
        return sum(self._level(tick) for tick in range(whole)) * TICK_MS + self._level(whole) * rest

    # inside -------------------------------------------------------------------------------------------------

    def _level(self, tick: int) -> int:
        counts = round(self._light(tick * TICK_MS / 1000) + self.zero)
        return min(max(counts, 0), self.full_scale)

    def _pass(self, to_ms: int) -> None:
        while self.now_ms < to_ms:
            tick = self.now_ms // TICK_MS
            if tick != self._sample_tick:
                self._sample_tick, self._sample = tick, self._level(tick)
            until = min(to_ms, (tick + 1) * TICK_MS)
            if self._slots:
                until = self._next_event(until)
            span = until - self.now_ms
            self.register += self._sample * span
            if self._sample >= self.full_scale:
                self.sat_ms += span
            self.now_ms = until
            if self._slots:
                self._look_at_slots()

    def _next_event(self, until_ms: int) -> int:
        """The first ms up to `until_ms` at which a slot is reached or sounds, or the node chirps."""
        for slot in self._slots.values():
            if slot.reached_ms is None:
                missing = slot.register - self.register
                if missing > 0 and self._sample > 0:
                    until_ms = min(until_ms, self.now_ms + -(-missing // self._sample))
            elif (burst_ms := slot.next_burst_ms()) is not None:
                until_ms = min(until_ms, max(burst_ms, self.now_ms + 1))
        return min(until_ms, max(self._chirp_ms, self.now_ms + 1)) if self._lease_ms else until_ms

    def _look_at_slots(self) -> None:
        """Reached slots call by themselves; a node that waits and hears nobody chirps."""
        for number in sorted(self._slots):
            slot = self._slots[number]
            if slot.reached_ms is None and self.register >= slot.register:
                slot.reached_ms, slot.bursts = self.now_ms, 0
            burst_ms = slot.next_burst_ms()
            if slot.bursts is not None and burst_ms is not None and burst_ms <= self.now_ms:
                slot.bursts += 1
                self._buzz(slot.pattern, CALL_S)
                self._sounds_slot = number
        waits = any(slot.reached_ms is None for slot in self._slots.values())
        if self._lease_ms and waits and self.now_ms >= self._chirp_ms:
            self.chirps_ms.append(self.now_ms)
            self._chirp_ms = self.now_ms + round(CHIRP_EACH_S * 1000)

    def _end_own_calls(self) -> None:
        for slot in self._slots.values():
            slot.bursts = None if slot.reached_ms is not None else slot.bursts
        if self._sounds_slot is not None:
            self._hush()

    def _hush(self) -> None:
        self._buzz_end_ms, self._sounds_slot = self.now_ms, None

    def _buzz(self, pattern: int, seconds: float) -> None:
        self._buzz_end_ms, self._sounds_slot = self.now_ms + round(seconds * 1000), None
        self.buzzes.append(Buzz(self.now_ms, pattern, seconds, self.register))

    def _set_rate(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._rate_from_ms = self.now_ms
        self._rate_count = 1

    def _line(self) -> bytes:
        span = self.now_ms - self._line_ms
        milli = round((self.register - self._line_register) * 1000 / span) if span else self._sample * 1000
        level = f"{milli // 1000}.{milli % 1000:03d}".rstrip("0").rstrip(".")
        text = (
            f"uv1,{self.boot:08x},{self._seq},{(self.first_uptime_ms + self.now_ms) & MASK32},{level},"
            f"{self.register},{self.sat_ms & MASK32},{self.presses & MASK32},{self.flags:02x}"
        )
        self._seq = (self._seq + 1) & MASK32
        self._line_register, self._line_ms = self.register, self.now_ms
        return frame(text)

    def _obey(self, name: str, words: list[str]) -> list[bytes]:
        """Carry a command out; what it answers. Raises `Fault`."""
        wanted = WORDS.get(name)
        if wanted is None:
            raise Fault("unknown")
        if len(words) != wanted:
            raise Fault("arguments")
        before: list[bytes] = []
        answer = f"ok {name}"
        if name == "who":
            answer += f" {NAME} {FIRMWARE} {SENSOR} {GAIN} {self.full_scale} {self.zero:g}"
        elif name == "now":
            before = [self._line()]
        elif name == "buzz":
            pattern, seconds = natural(words[0], PATTERNS), decimal(words[1], LONGEST_BUZZ_S)
            self._buzz(pattern, seconds)
        elif name == "quiet":
            self._end_own_calls()
            self._hush()
        elif name == "arm":
            slot, register = natural(words[0], SLOTS), natural(words[1], range(2**63))
            pattern = natural(words[2], PATTERNS)
            held = self._slots.get(slot)
            # Told twice, it does not call anew.
            if held is None or (held.register, held.pattern) != (register, pattern):
                self._disarm(slot)
                self._slots[slot] = _Slot(register, pattern)
            answer += f" {slot} {register} {pattern}"
            self._look_at_slots()
        elif name == "disarm":
            self._disarm(natural(words[0], SLOTS))
        elif name == "slot":
            answer += f" {words[0]} {self._slot(natural(words[0], SLOTS))}"
        elif name == "lease":
            self._lease_ms = round(decimal(words[0], LONGEST_LEASE_S) * 1000)
            self._chirp_ms = self.now_ms + self._lease_ms
        elif name == "rate":
            rate_hz = decimal(words[0], 100.0)
            if rate_hz < 0.1:
                raise Fault("value")
            self._set_rate(rate_hz)
        return [*before, frame(answer)]

    def _slot(self, number: int) -> str:
        slot = self._slots.get(number)
        if slot is None:
            return "-"
        at = "-" if slot.reached_ms is None else str((self.first_uptime_ms + slot.reached_ms) & MASK32)
        return f"{slot.register} {slot.pattern} {at}"

    def _disarm(self, slot: int) -> None:
        if self._slots.pop(slot, None) is not None and self._sounds_slot == slot:
            self._hush()
