"""Health of one sensor: live, silent, saturated, absent; each change is told once, with its own words."""

from __future__ import annotations

import enum

import msgspec

from ..units import US_PER_S

SILENT_US = 5 * US_PER_S
SILENT_INTERVALS = 3
REAL_FLOOR_S = 2.0


class SensorState(enum.StrEnum):
    """The states that `status` shows."""

    LIVE = "live"
    SILENT = "silent"
    FROZEN = "frozen"
    SATURATED = "saturated"
    ABSENT = "absent"


class Change(msgspec.Struct, frozen=True):
    """An alarm raised or cleared: its key, and a line that says what it does to the dose and what to do."""

    alarm: str
    raised: bool
    line: str = ""


class Health:
    """Watches one sensor. Pure: time comes in. pace: silence has a floor of two seconds in real time."""

    def __init__(self, pace: float = 1.0) -> None:
        self._floor_us = int(REAL_FLOOR_S * pace * US_PER_S)
        self.active: dict[str, str] = {}
        self.up = False
        self._quiet_since_us: int | None = None
        self._ever_heard = False
        self._limit_us = max(SILENT_US, self._floor_us)

    def link(self, up: bool, line: str, t_us: int) -> list[Change]:
        """The link came up or went down."""
        self.up = up
        if up:
            if self._quiet_since_us is None:
                self._quiet_since_us = t_us  # from here on silence can be told
            return self._clear("link")
        return self._raise("link", line)

    def heard(self, t_us: int, usual_us: int, saturated: bool) -> list[Change]:
        """A reading was taken in, at the dose time of its arrival."""
        self._quiet_since_us = t_us
        self._ever_heard = True
        self._limit_us = max(SILENT_US, SILENT_INTERVALS * usual_us, self._floor_us)
        if not self.active and not saturated:
            return []
        changes = self._clear("silent") + self._clear("gap")
        if saturated:
            line = "at full scale: the dose is a lower bound; tip the sensor, cover it with diffuser, or lower its gain"
            return changes + self._raise("saturated", line)
        return changes + self._clear("saturated")

    def tick(self, t_us: int) -> list[Change]:
        """Time passed."""
        if self._quiet_since_us is None or t_us - self._quiet_since_us < self._limit_us:
            return []
        return self._raise("silent", "no reading comes; look at cable, power and radio of the sensor")

    def hole(self) -> list[Change]:
        """A hole that can no longer be bridged lies over a print, and is still open."""
        line = "no reading for 60 s with a print in the light: from here on its dose is an estimate, called missing"
        return self._raise("gap", line)

    def due_us(self) -> int | None:
        """When silence would be told, if nothing comes."""
        if self._quiet_since_us is None or "silent" in self.active:
            return None
        return self._quiet_since_us + self._limit_us

    def state(self) -> SensorState:
        """The one word for `status`."""
        if "link" in self.active:
            return SensorState.ABSENT
        if "silent" in self.active:
            return SensorState.SILENT
        if not self._ever_heard:
            return SensorState.ABSENT
        return SensorState.SATURATED if "saturated" in self.active else SensorState.LIVE

    def _raise(self, alarm: str, line: str) -> list[Change]:
        if alarm in self.active:
            return []
        self.active[alarm] = line
        return [Change(alarm, True, line)]

    def _clear(self, alarm: str) -> list[Change]:
        return [Change(alarm, False)] if self.active.pop(alarm, None) is not None else []
