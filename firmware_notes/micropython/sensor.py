"""Keeps a sensor going: reads it when a conversion is due, tries again after a fault, and never makes a value up."""

from registers import SensorFault

TRIES = 3
AGAIN_MS = 1000
EARLY_MS = 10


class Watch:
    """part: one of the drivers, such as an `Ltr390`. `fault` says in words what is wrong, "" while all is well."""

    def __init__(self, part, longest_ms):
        self.part = part
        self.fault = "not read yet"
        self._longest_ms = longest_ms
        self._going = False
        self._due_ms = 0  # of the next conversion, or of the next try
        self._last_ms = 0

    def poll(self, now_ms):
        """A new value in whole counts, or None: there is none yet, or, where `fault` is set, the sensor is lost."""
        if now_ms < self._due_ms:
            return None
        try:
            if not self._going:
                self.part.start()
                self._going = True
                self._last_ms = now_ms
                self._due_ms = now_ms + self.part.interval_ms - EARLY_MS
                return None
            counts = self._read()
        except SensorFault as fault:
            return self._lose(str(fault), now_ms)
        except OSError as err:
            what = f"nothing answers at 0x{self.part.address:02x}"
            return self._lose(f"{what} on the bus ({err}): see to its wires and power", now_ms)
        if counts is None:
            late_ms = now_ms - self._last_ms
            if late_ms > self._longest_ms:
                return self._lose(f"no new conversion for {late_ms} ms", now_ms)
            return None
        self.fault = ""
        self._last_ms = now_ms
        self._due_ms = now_ms + max(self.part.interval_ms - EARLY_MS, 1)
        return counts

    def _read(self):
        """Read, and once more after a disturbance: the conversion is still there. Raises OSError, `SensorFault`."""
        for left in range(TRIES - 1, -1, -1):
            try:
                return self.part.read()
            except OSError:
                if not left:
                    raise

    def _lose(self, words, now_ms):
        self.fault = words
        self._going = False
        self._due_ms = now_ms + AGAIN_MS
