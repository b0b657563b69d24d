"""Whether the sums of the minutes are what the raw readings give: made again by the same function, and compared bit for
bit. Minutes whose readings were pruned, in part or whole, cannot be proved any more and are passed over.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from ..dose.minute import MINUTE_US, MinuteSums
from .blocks import Block, Blocks, marks
from .minutes import FAR_US
from .pack import Row
from .prune import Pruned

SAMPLED_DAYS = 12
MAX_TOLD = 5
_DAY = 1440  # minutes
_EVER = 1 << 62


class Proof:
    """Give it every block of the journal in order, then ask. every: all minutes, else those of some days, the newest
    among them, spread over the journal's time."""

    def __init__(self, db: sqlite3.Connection, gone: Sequence[Pruned], every: bool) -> None:
        self._db = db
        self._blocks = Blocks(db)
        self._marks = marks(db)
        self._gone = gone
        self._days: set[int] | None = None if every else self._some_days()
        self._sums: dict[tuple[int, int], MinuteSums] = {}
        self._unproved: set[tuple[str, int]] = set()
        self._last_us: dict[str, int] = {}
        self._damaged: set[str] = set()
        self.proved = 0

    def _some_days(self) -> set[int]:
        days = [int(r[0]) for r in self._db.execute(f"SELECT DISTINCT minute / {_DAY} FROM minute ORDER BY 1")]
        most = min(SAMPLED_DAYS, len(days))
        return {days[-1 - k * (len(days) - 1) // max(1, most - 1)] for k in range(most)}

    def _is_asked(self, minute: int) -> bool:
        return self._days is None or minute // _DAY in self._days

    def add(self, block: Block, rows: list[Row] | None) -> None:
        """The next block; rows None: it cannot be read."""
        identity = self._blocks.sensors.identity(block.sensor)
        if identity is None or block.id > self._marks.get(identity.name, 0):
            return
        first, last = (block.wall0_us - FAR_US) // MINUTE_US, block.wall1_us // MINUTE_US
        self._pass_over(identity.name, block, rows is None)
        if not (self._is_asked(first) or self._is_asked(last)):
            return
        for minute, sums in self._blocks.sums_of(block, rows).items():
            if self._is_asked(minute):
                key = block.sensor, minute
                self._sums[key] = self._sums[key] + sums if key in self._sums else sums

    def _pass_over(self, name: str, block: Block, damaged: bool) -> None:
        """Minutes of a damaged block, and those into which light reaches that lies between a block and what was pruned
        or is damaged before it."""
        end = block.wall0_us // MINUTE_US
        before_us = self._last_us.get(name, -_EVER)
        self._last_us[name] = block.t1_us
        if damaged or name in self._damaged:
            last = block.wall1_us // MINUTE_US if damaged else end
            self._unproved.update((name, m) for m in range((block.wall0_us - FAR_US) // MINUTE_US, last + 1))
            self._damaged.discard(name)
        if damaged:
            self._damaged.add(name)
        for g in self._gone:
            if g.sensor == name and before_us <= g.t0_us and g.t1_us <= block.t0_us:
                from_us = block.wall0_us - min(FAR_US, block.t0_us - g.t1_us)
                self._unproved.update((name, m) for m in range(from_us // MINUTE_US, end + 1))

    def problems(self) -> list[str]:
        """What does not agree, in lines; sets `proved`."""
        found: list[str] = []
        count = 0
        fields = ", ".join(MinuteSums.__struct_fields__)
        kept: dict[tuple[int, int], MinuteSums] = {}
        try:
            for sensor, minute, *sums in self._db.execute(f"SELECT sensor, minute, {fields} FROM minute"):
                if self._is_asked(minute):
                    kept[sensor, minute] = MinuteSums(*sums)
        except sqlite3.DatabaseError as err:
            return [f"minute: {err}"]
        for key in sorted(kept.keys() | self._sums.keys()):
            if not self._can_be_proved(*key):
                continue
            if kept.get(key) == self._sums.get(key):
                self.proved += 1
                continue
            count += 1
            if count <= MAX_TOLD:
                found.append(f"minute {key[1]} of sensor row {key[0]}: its sums are not those of the raw readings")
        return [*found, f"{count - MAX_TOLD} more minutes like these"] if count > MAX_TOLD else found

    def _can_be_proved(self, sensor: int, minute: int) -> bool:
        identity = self._blocks.sensors.identity(sensor)
        if identity is None or (identity.name, minute) in self._unproved:
            return False
        begin_us, end_us = minute * MINUTE_US, (minute + 1) * MINUTE_US
        return not any(
            g.sensor == identity.name and g.wall0_us < end_us and g.wall1_us >= begin_us for g in self._gone
        )
