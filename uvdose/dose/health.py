"""Health of one sensor: which alarms are on, each with its own words and its effect on the dose; told once each."""

from __future__ import annotations

import enum

import msgspec

from ..units import US_PER_S
from .findings import FINDINGS

SILENT_US = 5 * US_PER_S
SILENT_INTERVALS = 3
REAL_FLOOR_S = 2.0
BACKLOG_US, BACKLOG_CLEAR_US = 5 * US_PER_S, 2 * US_PER_S
RESTART_SHOWN_US = 30 * US_PER_S
UNREAD_RUN, UNREAD_US = 3, 2 * US_PER_S
NO_VALUE = ("not a finite number", "empty value")
NO_NUMBER = ("not a number", *NO_VALUE)

# What silence does to a dose: a node with a register counts on by itself, any other sensor does not.
_UNREAD = {
    True: "nothing is lost while the node has power, since it counts on by itself",
    False: "up to 60 s of light are bridged from the reading before to the one after; more is missing and not counted",
}
_GAP = {
    True: "until the node is heard again its dose is an estimate, and what the node then tells is counted",
    False: "from here on its dose is an estimate, called missing",
}
WORDS = {
    "backlog": "readings come late: the dose is right, but a call may be late; look at the radio or the broker",
    "flood": "more comes than can be worked through: what is lost of it leaves gaps; let the sensor send less often",
    "restarted": "the node was switched off and on: the time it was off is bridged up to 60 s, else missing",
} | {key: finding.line for key, finding in FINDINGS.items()}

# Where another alarm has told already why nothing is heard, silence need not say it again.
SILENT_SINCE = {"unreadable": "no reading comes that can be read", "link": "no reading comes, since there is no link"}


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
    """Watches one sensor. Pure: time comes in. pace: silence has a floor of two seconds in real time.

    counts_on: the sensor is a node with a register, which adds up by itself while nobody hears it.
    """

    def __init__(self, pace: float = 1.0, counts_on: bool = False) -> None:
        self._words = WORDS | {
            "silent": f"no reading comes: {_UNREAD[counts_on]}; look at cable, power and radio of the sensor",
            "gap": f"no reading for 60 s with a print in the light: {_GAP[counts_on]}",
        }
        self._link_down = _UNREAD[counts_on]
        self._floor_us = int(REAL_FLOOR_S * pace * US_PER_S)
        self.active: dict[str, str] = {}
        self._quiet_since_us: int | None = None
        self._ever_heard = False
        self._unread = 0
        self._unread_since_us = 0
        self._restarted_us = 0
        self._limit_us = max(SILENT_US, self._floor_us)

    def link(self, up: bool, line: str, t_us: int) -> list[Change]:
        """The link came up or went down."""
        if up:
            if self._quiet_since_us is None:
                self._quiet_since_us = t_us  # from here on silence can be told
            return self.set("link", False)
        return self.set("link", True, f"{line}; {self._link_down}")

    def heard(self, t_us: int, usual_us: int, found: set[str], restarted: bool) -> list[Change]:
        """A reading was taken in.

        t_us: dose time of its arrival. found: what is wrong with the values. restarted: the first line of another boot.
        """
        self._quiet_since_us = t_us
        self._ever_heard = True
        self._unread = 0
        self._limit_us = max(SILENT_US, SILENT_INTERVALS * usual_us, self._floor_us)
        if restarted:
            self._restarted_us = t_us
        elif not self.active and not found:
            return []
        changes = [c for key in ("silent", "gap", "unreadable") for c in self.set(key, False)]
        changes += self.set("restarted", restarted or (
            "restarted" in self.active and t_us - self._restarted_us < RESTART_SHOWN_US
        ))
        for key in FINDINGS:
            changes += self.set(key, key in found)
        return changes

    def late(self, late_us: int) -> list[Change]:
        """The oldest of the readings that came together was so long under way."""
        limit_us = max(self._floor_us, BACKLOG_CLEAR_US if "backlog" in self.active else BACKLOG_US)
        return self.set("backlog", late_us >= limit_us)

    def unread(self, reason: str, came: str, mend: str, t_us: int) -> list[Change]:
        """Something came that is no reading. Told where it comes again and again, and no reading in between.

        reason: why it is none; came: what came, as it can be shown; mend: what to set.
        What is plainly no number is told after two seconds; of other lines many boards say some between two readings.
        """
        if self._unread == 0:
            self._unread_since_us = t_us
        self._unread += 1
        patience_us = UNREAD_US if reason in NO_NUMBER else self._limit_us
        if self._unread < UNREAD_RUN or t_us - self._unread_since_us < patience_us:
            return []
        what = f"what comes cannot be read ({reason}), such as {came}"
        if reason in NO_VALUE:
            what, mend = f"sends no number ({came})", "look at the sensor and its wires"
        return self.set("unreadable", True, f"{what}: nothing is counted from it; {mend}")

    def expect(self, usual_us: int) -> None:
        """How often a reading came in the last run, so that a slow sensor is not called silent at the start."""
        self._limit_us = max(SILENT_US, SILENT_INTERVALS * usual_us, self._floor_us)

    def tick(self, t_us: int) -> list[Change]:
        """Time passed."""
        if self._quiet_since_us is None or t_us - self._quiet_since_us < self._limit_us:
            return []
        known = next((key for key in SILENT_SINCE if key in self.active), "")
        return self.set("silent", True, SILENT_SINCE.get(known, ""))

    def set(self, alarm: str, on: bool, line: str = "") -> list[Change]:
        """Switch an alarm; a change is told once. line: its words, where they are not always the same."""
        if on == (alarm in self.active):
            return []
        if not on:
            del self.active[alarm]
            return [Change(alarm, False)]
        self.active[alarm] = line or self._words[alarm]
        return [Change(alarm, True, self.active[alarm])]

    def due_us(self) -> int | None:
        """When silence would be told, if nothing comes."""
        if self._quiet_since_us is None or "silent" in self.active:
            return None
        return self._quiet_since_us + self._limit_us

    def state(self) -> SensorState:
        """The one word for `status`."""
        if "link" in self.active or ("silent" not in self.active and not self._ever_heard):
            return SensorState.ABSENT
        for state in (SensorState.SILENT, SensorState.FROZEN, SensorState.SATURATED):
            if state in self.active:
                return state
        return SensorState.LIVE
