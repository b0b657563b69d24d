"""Wall labels of a sensor's readings, and the dose times that belong to them."""

from __future__ import annotations

from bisect import bisect_right

from ..clock import iso_utc
from ..journal.pack import unpack_values
from ..journal.recorder import MAX_CHUNK_SPAN_US
from ..journal.store import Store
from ..model import Refusal

LIT = 0.05  # of the strongest light of a day: weaker is dawn, dusk and night


class Labels:
    """The labels of a stretch of wall time. Raises `Refusal` where there are no readings in it."""

    def __init__(self, store: Store, sensor: str, wall0_us: int, wall1_us: int) -> None:
        self._store = store
        rows = store.db.execute(
            "SELECT c.wall0_us, c.t0_us, c.id, c.wall0_us + c.t1_us - c.t0_us FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ?"
            " AND c.wall0_us >= ? AND c.wall0_us < ? AND c.wall0_us + c.t1_us - c.t0_us >= ? ORDER BY c.wall0_us",
            (sensor, wall0_us - MAX_CHUNK_SPAN_US, wall1_us, wall0_us),
        ).fetchall()
        if not rows:
            raise _none(store, sensor, wall0_us)
        self._chunks = [(int(wall), int(t), int(number)) for wall, t, number, _ in rows]
        self.last_us = min(wall1_us, max(int(end) for *_, end in rows))
        self._span = wall0_us, wall1_us
        self._walls = [wall for wall, _, _ in self._chunks]

    def dose_us(self, wall_us: int) -> int:
        """The dose time of a label: by the readings that lie at it or before it, else by the first."""
        wall0_us, t0_us, _ = self._chunks[max(0, bisect_right(self._walls, wall_us) - 1)]
        return t0_us + wall_us - wall0_us

    def lit(self) -> tuple[int, int] | None:
        """The first and the last label within the stretch with more than a twentieth of its strongest light."""
        found: list[tuple[float, int]] = []
        for wall0_us, t0_us, number in self._chunks:
            kind, data = self._store.db.execute("SELECT kind, data FROM chunk WHERE id = ?", (number,)).fetchone()
            try:
                times, values = unpack_values(kind, data)
            except ValueError as err:
                raise Refusal(f"raw readings {number} of the journal cannot be read: {err}") from None
            walls = times + (wall0_us - t0_us)
            inside = (walls >= self._span[0]) & (walls < self._span[1])
            found += zip(values[inside].tolist(), walls[inside].tolist(), strict=True)
        most = max((value for value, _ in found), default=0.0)
        lit = [wall for value, wall in found if value > LIT * most]
        return (min(lit), max(lit)) if lit else None


def _none(store: Store, sensor: str, wall_us: int) -> Refusal:
    first, last = store.db.execute(
        "SELECT min(c.wall0_us), max(c.wall0_us + c.t1_us - c.t0_us) FROM chunk c JOIN sensor s ON s.id = c.sensor"
        " WHERE s.name = ?", (sensor,)
    ).fetchone()
    has = f"it has some from {iso_utc(first)} to {iso_utc(last)}" if first is not None else "it has none at all"
    return Refusal(f"no readings of {sensor} at {iso_utc(wall_us)}: {has}")
