"""What waits to be sent, and how long to wait before the next try. Pure."""


class Outbox:
    """A few messages in their order. No backlog: the register of the next line tells what a dropped one told."""

    MOST = 12

    def __init__(self):
        self._items = []
        self.open = False

    def put(self, line):
        """Take a line, if there is a connection; the oldest reading gives way, then the oldest answer."""
        if not self.open:
            return
        if len(self._items) >= self.MOST:
            at = 0
            for i, item in enumerate(self._items):
                if item.startswith(b"uv1,"):
                    at = i
                    break
            self._items.pop(at)
        self._items.append(line)

    def take(self):
        """The next line, None when there is none."""
        return self._items.pop(0) if self._items else None

    def set_open(self, is_open):
        """A connection came or went; what waited is dropped."""
        self.open = is_open
        self._items.clear()


class Waits:
    """Doubling waits up to a cap, each somewhere in its upper half, so that many nodes do not come back at once."""

    def __init__(self, first_ms, cap_ms, draw):
        self._first_ms, self._cap_ms, self._draw = first_ms, cap_ms, draw
        self._ms = first_ms

    def next(self):
        ms = self._ms
        self._ms = min(ms * 2, self._cap_ms)
        return ms // 2 + self._draw() % (ms - ms // 2 + 1)

    def reset(self):
        self._ms = self._first_ms
