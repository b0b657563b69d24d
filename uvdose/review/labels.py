"""Wall labels of a sensor's readings on one day, the dose times that belong to them, and when the day had light."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable

from ..journal.pack import unpack_values
from ..journal.recorder import MAX_CHUNK_SPAN_US
from ..journal.store import Store
from ..model import Refusal
from ..stamps import local_date, local_moment

LIT = 0.005  # of the strongest light of a day: weaker is dawn, dusk and night


class Labels:
    """The labels of a stretch of wall time. Raises `Refusal` where there are no readings in it.

    last_us: the last of them. lit: the first and the last with more than 0.5 % of the strongest light; None in the
    dark. zero_at: the sensor's zero by dose time.
    """

    def __init__(
        self, store: Store, sensor: str, wall0_us: int, wall1_us: int, zero_at: Callable[[int], float]
    ) -> None:
        self._store = store
        rows = store.db.execute(
            "SELECT c.wall0_us, c.t0_us, c.id, c.wall0_us + c.t1_us - c.t0_us FROM chunk c"
            " JOIN sensor s ON s.id = c.sensor WHERE s.name = ? AND c.wall0_us >= ? AND c.wall0_us < ?"
            " AND c.wall0_us + c.t1_us - c.t0_us >= ? ORDER BY c.wall0_us",
            (sensor, wall0_us - MAX_CHUNK_SPAN_US, wall1_us, wall0_us),
        ).fetchall()
        if not rows:
            raise _none(store, sensor, wall0_us)
        self._chunks = [(int(wall), int(t), int(number)) for wall, t, number, _ in rows]
        self.last_us = min(wall1_us, max(int(end) for *_, end in rows))
        self._span = wall0_us, wall1_us
        self._walls = [wall for wall, _, _ in self._chunks]
        self.lit = self._lit(zero_at)

    def dose_us(self, wall_us: int) -> int:
        """The dose time of a label: by the readings that lie at it or before it, else by the first."""
        wall0_us, t0_us, _ = self._chunks[max(0, bisect_right(self._walls, wall_us) - 1)]
        return t0_us + wall_us - wall0_us

    def _lit(self, zero_at: Callable[[int], float]) -> tuple[int, int] | None:
        found: list[tuple[float, int]] = []
        for wall0_us, t0_us, number in self._chunks:
            kind, data = self._store.db.execute("SELECT kind, data FROM chunk WHERE id = ?", (number,)).fetchone()
            try:
                times, values = unpack_values(kind, data)
            except ValueError as err:
                raise Refusal(f"raw readings {number} of the journal cannot be read: {err}") from None
            walls = times + (wall0_us - t0_us)
            inside = (walls >= self._span[0]) & (walls < self._span[1])
            values = values - zero_at(t0_us)
            found += zip(values[inside].tolist(), walls[inside].tolist(), strict=True)
        most = max((value for value, _ in found), default=0.0)
        lit = [wall for value, wall in found if value > LIT * most]
        return (min(lit), max(lit)) if lit else None


def _none(store: Store, sensor: str, wall_us: int) -> Refusal:
    first, last = store.db.execute(
        "SELECT min(c.wall0_us), max(c.wall0_us + c.t1_us - c.t0_us) FROM chunk c JOIN sensor s ON s.id = c.sensor"
        " WHERE s.name = ?", (sensor,)
    ).fetchone()
    has = f"it has some from {local_moment(first)} to {local_moment(last)}" if first is not None else "it has none"
    return Refusal(f"no readings of {sensor} on {local_date(wall_us)}: {has}")
