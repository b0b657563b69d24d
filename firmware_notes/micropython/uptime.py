"""Milliseconds since the start, out of a tick count that wraps: pure, the ticks are handed in."""


class Uptime:
    """To be asked more often than half the period of the ticks: at 30 bits that is six days; it is asked each 10 ms."""

    def __init__(self, ticks_ms, ticks_diff):
        self._ticks_ms, self._ticks_diff = ticks_ms, ticks_diff
        self._last = ticks_ms()
        self._ms = 0

    def now(self):
        """Milliseconds since the start; never goes back, never wraps."""
        ticks = self._ticks_ms()
        passed = self._ticks_diff(ticks, self._last)
        if passed > 0:
            self._ms += passed
            self._last = ticks
        return self._ms
