"""What makes the buzzer sound, pure: armed slots, the node's own calls, buzzes of the computer, the chirp of a lease.

Times are whole milliseconds of the node's own count. Everything here may be told twice and does it once.
"""

SLOTS = 4
CALL_MS = 10_000
CALL_EACH_MS = 30_000
CALL_FOR_MS = 30 * 60_000
CHIRP_MS = 100
CHIRP_EACH_MS = 10_000
WAITING, CALLING, QUIETED = 0, 1, 2

# Milliseconds on, off, on, off ...: which call it is can be told with closed eyes. As firmware_notes/wire-format.md has
# them, so that a call sounds alike on every node.
RHYTHMS = {
    1: (80, 920),  # count-in: one tick a second
    2: (160, 160, 160, 1000),  # look: two short
    3: (160, 160, 160, 160, 160, 1000),  # lead: three short
    4: (800, 200),  # target: long ones
    5: (100, 100),  # overshoot: rattles without pause
    6: (600, 160, 160, 160),  # alarm: long, short
    7: (80, 80, 80, 80, 80, 80, 80, 1440),  # test: four ticks
}


def rhythm(pattern, ms):
    """Whether a pattern is loud this long after it began."""
    steps = RHYTHMS[pattern]
    total = 0
    for step in steps:
        total += step
    ms %= total
    loud = True
    for step in steps:
        if ms < step:
            return loud
        ms -= step
        loud = not loud
    return False


class Slot:
    """A register value that the node calls at by itself."""

    def __init__(self, register, pattern):
        self.register = register
        self.pattern = pattern
        self.state = WAITING
        self.reached_ms = 0
        self.uptime_ms = 0  # of the node, when it was reached


class Calls:
    """All that can sound. `lowest` is the nearest armed value that has not been reached, or None."""

    def __init__(self):
        self.slots = [None] * SLOTS
        self.lowest = None
        self.lease_ms = 0
        self.proved_ms = 0
        self._pattern = 0
        self._from_ms = 0
        self._until_ms = 0

    def arm(self, number, register, pattern):
        """Wait for a value. The same once more changes nothing: what was quieted does not call again."""
        slot = self.slots[number]
        if slot is None or slot.register != register or slot.pattern != pattern:
            self.slots[number] = Slot(register, pattern)
            self.look()

    def disarm(self, number):
        """Forget a slot, and with it the sound that it made."""
        self.slots[number] = None
        self.look()

    def reach(self, register, now_ms, uptime_ms):
        """Call for each slot whose value the register has reached."""
        for slot in self.slots:
            if slot is not None and slot.state == WAITING and register >= slot.register:
                slot.state = CALLING
                slot.reached_ms = now_ms
                slot.uptime_ms = uptime_ms
        self.look()

    def shift(self, register):
        """The register begins anew at 0: each waiting slot keeps what was left to it, a reached one stays reached."""
        for slot in self.slots:
            if slot is not None:
                slot.register = max(slot.register - register, 0)
                slot.uptime_ms = 0
        self.look()

    def tell(self, number):
        """What a slot holds, as the answer to `slot` has it."""
        slot = self.slots[number]
        if slot is None:
            return "-"
        return f"{slot.register} {slot.pattern} {'-' if slot.state == WAITING else slot.uptime_ms}"

    def buzz(self, pattern, for_ms, now_ms):
        """Sound for the computer, in place of what sounds now."""
        self._pattern, self._from_ms, self._until_ms = pattern, now_ms, now_ms + for_ms

    def quiet(self, now_ms):
        """End the sound; what was reached calls no more."""
        self._until_ms = now_ms
        self.quiet_own()

    def quiet_own(self):
        """End the node's own calls only."""
        for slot in self.slots:
            if slot is not None and slot.state == CALLING:
                slot.state = QUIETED

    def sounding(self, now_ms):
        """The pattern that sounds, 0 for none. A call of the node's own pauses between its stretches."""
        if now_ms < self._until_ms:
            return self._pattern
        slot = self._own(now_ms)
        return slot.pattern if slot is not None and self._stretch(slot, now_ms) < CALL_MS else 0

    def loud(self, now_ms):
        """Whether the buzzer's pin is on at this moment."""
        if now_ms < self._until_ms:
            return rhythm(self._pattern, now_ms - self._from_ms)
        slot = self._own(now_ms)
        if slot is not None:
            ms = self._stretch(slot, now_ms)
            return ms < CALL_MS and rhythm(slot.pattern, ms)
        return self._chirps(now_ms)

    def waits(self):
        """Whether a slot waits for its value."""
        return self.lowest is not None

    def reached(self):
        """Whether a value was reached and not disarmed."""
        return any(slot is not None and slot.state != WAITING for slot in self.slots)

    def _own(self, now_ms):
        """The slot that calls: of several the one reached last, of those reached together the furthest."""
        found = None
        for slot in self.slots:
            if slot is None or slot.state != CALLING or now_ms - slot.reached_ms >= CALL_FOR_MS:
                continue
            if found is None or (slot.reached_ms, slot.register) >= (found.reached_ms, found.register):
                found = slot
        return found

    def _stretch(self, slot, now_ms):
        return (now_ms - slot.reached_ms) % CALL_EACH_MS

    def _chirps(self, now_ms):
        if not self.lease_ms or self.lowest is None:
            return False
        late_ms = now_ms - self.proved_ms - self.lease_ms
        return late_ms >= 0 and late_ms % CHIRP_EACH_MS < CHIRP_MS

    def look(self):
        """Find the nearest value that is waited for."""
        self.lowest = None
        for slot in self.slots:
            if slot is not None and slot.state == WAITING and (self.lowest is None or slot.register < self.lowest):
                self.lowest = slot.register
