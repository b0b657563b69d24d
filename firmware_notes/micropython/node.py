"""The node, pure: samples, presses, commands and time go in, lines come out. It never sleeps, reads or sends.

The register is kept in two parts: `_low`, which stays a small integer, takes every addition, and `_high` takes it over
once a line. On a 32-bit board integers beyond 30 bits are exact as well, but each one is a new object on the heap.

A value holds until the next one comes, for `hold_ms` at most. Beyond that, and from a failed read on, the light is not
known, and the wire has no field for that: the node sends one last line and then none (`blind`). With the next value
it is a new boot, which counts from 0: so the daemon knows that nothing is known of the time between.
"""

from calls import Calls
from wire import Fault, frame, reading, thousandths, unframe, whole

FIRMWARE = "1"
MASK32 = 0xFFFFFFFF
KEPT_FOR_MS = 60_000
MOST_LOW = 1 << 28
WANTED = {"who": 0, "now": 0, "buzz": 2, "quiet": 0, "arm": 3, "disarm": 1, "slot": 1, "lease": 1, "rate": 1}


class Node:
    """name, sensor, gain: words without blanks, for `who`. zero: counts in the dark, only told. draw: 32 random bits.

    Times are milliseconds since power-up, as `Uptime.now` counts them; one that goes back is taken as now. Lines to be
    sent gather in `out`, readings and answers in their order.
    """

    def __init__(self, name, sensor, gain, full_scale, zero, draw, rate_milli=1000, hold_ms=1000):
        self.words = f"{name} {FIRMWARE} {sensor} {gain} {full_scale} {zero}"
        self.calls = Calls()
        self.out = []
        self.boot = self.seq = self.sat_ms = self.presses = 0
        self.counting = False
        self.rate_milli = rate_milli
        self.hold_ms = hold_ms
        self._draw = draw
        self._high = self._low = self._left = 0
        self._counts = 0
        self._saturated = False
        self._now_ms = self._value_ms = self._began_ms = 0
        self._line_register = self._line_ms = self._next_ms = 0
        self._kept = None  # uptime that a reset kept, until counting goes on
        self._kept_until_ms = 0

    # what befalls it ----------------------------------------------------------------------------------------

    def sample(self, counts, saturated, now_ms):
        """The sensor has a new value: whole counts, and whether it is a lower bound only."""
        self.advance(now_ms)
        self._counts, self._saturated, self._value_ms = counts, saturated, self._now_ms
        if not self.counting:
            self._begin()

    def blind(self, now_ms):
        """The sensor cannot be read: what was counted is said, then the node is silent."""
        self.advance(now_ms)
        self._end()

    def advance(self, to_ms):
        """Let time pass."""
        if self.counting:
            end_ms = self._value_ms + self.hold_ms
            if to_ms > end_ms:
                self._pass(end_ms)
                self._end()
        if self.counting:
            self._pass(to_ms)
            if self._now_ms >= self._next_ms:
                self._say_reading()
                self._next_ms = max(self._next_ms, self._now_ms - self._period_ms()) + self._period_ms()
        elif to_ms > self._now_ms:
            self._now_ms = to_ms

    def press(self, now_ms):
        """The button: counts, is told at once, and ends a call of the node's own. While blind it does only that."""
        self.advance(now_ms)
        self.calls.quiet_own()
        if self.counting:
            self.presses = (self.presses + 1) & MASK32
            self._say_reading()

    def command(self, payload, now_ms):
        """Lines from the computer, one or more, with or without their ending."""
        self.advance(now_ms)
        for line in payload.split(b"\n"):
            if line.strip():
                self._answer(line)

    # what it shows ------------------------------------------------------------------------------------------

    def register(self):
        """Counts x ms since this boot began."""
        return self._high + self._low

    def uptime_ms(self):
        """Milliseconds since this boot began."""
        return self._now_ms - self._began_ms

    def flags(self):
        """The flags as a line carries them."""
        calls = self.calls
        flags = 1 if calls.sounding(self._now_ms) else 0
        if calls.waits():
            flags |= 2
        if calls.reached():
            flags |= 4
        if self._now_ms < self._kept_until_ms:
            flags |= 8
        return flags

    def resume(self, boot, seq, uptime_ms, register, sat_ms, presses):
        """Go on with what a reset kept; to be called before the first sample, the slots are the caller's to set."""
        self.boot, self.seq, self.sat_ms, self.presses = boot, seq, sat_ms, presses
        self._high, self._low, self._kept = register, 0, uptime_ms

    # inside -------------------------------------------------------------------------------------------------

    def _period_ms(self):
        return 1_000_000 // self.rate_milli

    def _begin(self):
        """Count: a new boot from register 0 and uptime 0, or what a reset kept."""
        if self._kept is None:
            self.calls.shift(self.register())
            self.boot = self._draw() & MASK32
            self.seq = self.sat_ms = self.presses = self._high = self._low = 0
            self._began_ms = self._now_ms
        else:
            self._began_ms = self._now_ms - self._kept
            self._kept_until_ms = self._now_ms + KEPT_FOR_MS
            self._kept = None
        self.counting = True
        self._line_register, self._line_ms = self.register(), self._now_ms
        self._next_ms = self._now_ms + self._period_ms()
        self._look_ahead()
        self._say_reading()

    def _end(self):
        if self.counting:
            self._say_reading()
            self.counting = False

    def _pass(self, to_ms):
        span = to_ms - self._now_ms
        if span <= 0:
            return
        self._now_ms = to_ms
        self._low += self._counts * span
        if self._saturated:
            self.sat_ms = (self.sat_ms + span) & MASK32
        if self._low >= self._left:
            self._look_ahead()

    def _look_ahead(self):
        """Take `_low` over, let reached slots call, and see how far it may grow before the next look."""
        self._high += self._low
        self._low = 0
        calls = self.calls
        if calls.waits() and self._high >= calls.lowest:
            calls.reach(self._high, self._now_ms, self.uptime_ms() & MASK32)
        self._left = min(calls.lowest - self._high, MOST_LOW) if calls.waits() else MOST_LOW

    def _say_reading(self):
        self._look_ahead()
        register, span = self._high, self._now_ms - self._line_ms
        milli = self._counts * 1000
        if span:
            milli = ((register - self._line_register) * 2000 + span) // (2 * span)
        self._line_register, self._line_ms = register, self._now_ms
        uptime_ms = self.uptime_ms() & MASK32
        flags = self.flags()
        text = reading(self.boot, self.seq, uptime_ms, milli, register, self.sat_ms, self.presses, flags)
        self.seq = (self.seq + 1) & MASK32
        self.out.append(frame(text))

    def _answer(self, line):
        text = unframe(line)
        if text is None:
            self.out.append(frame("err checksum"))
            return
        self.calls.proved_ms = self._now_ms
        words = text.split()
        try:
            answer = self._obey(words[0] if words else "", words[1:])
        except Fault as fault:
            answer = f"err {fault}"
        self.out.append(frame(answer))

    def _obey(self, name, words):
        """Carry a command out; what is answered. Raises `Fault`."""
        if name not in WANTED:
            raise Fault("unknown")
        if len(words) != WANTED[name]:
            raise Fault("arguments")
        calls = self.calls
        if name == "who":
            return "ok who " + self.words
        if name == "now":
            if not self.counting:
                raise Fault("sensor")
            self._say_reading()
        elif name == "buzz":
            calls.buzz(whole(words[0], 1, 7), thousandths(words[1], 0, 3_600_000), self._now_ms)
        elif name == "quiet":
            calls.quiet(self._now_ms)
        elif name == "arm":
            slot, register, pattern = whole(words[0], 0, 3), whole(words[1], 0, (1 << 63) - 1), whole(words[2], 1, 7)
            calls.arm(slot, register, pattern)
            self._look_ahead()
            return f"ok arm {slot} {register} {pattern}"
        elif name == "disarm":
            calls.disarm(whole(words[0], 0, 3))
            self._look_ahead()
        elif name == "slot":
            slot = whole(words[0], 0, 3)
            return f"ok slot {slot} {calls.tell(slot)}"
        elif name == "lease":
            calls.lease_ms = thousandths(words[0], 0, 86_400_000)
        else:
            milli = thousandths(words[0], 100, 10_000)
            if milli != self.rate_milli:
                self.rate_milli = milli
                self._next_ms = self._now_ms + self._period_ms()
        return "ok " + name
