"""Reading the journal: targets, exposures with their acts, events, raw readings. Works beside the writer."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import TypeVar

import msgspec

from ..clock import Epoch
from ..dose.response import Identity
from ..exposure.outcome import Ring
from ..exposure.record import ActRecord, Plan
from ..exposure.states import Act
from ..exposure.target import Target
from ..messages import EventDoc, ExposureDoc
from ..model import Mark, MomentSegment, Reading, Refusal
from ..notes import Doc, Picture, PrintNote, kind_name
from ..stamps import iso_utc
from .imported import OF_THE_BENCH
from .pack import unpack


class Kept(msgspec.Struct, frozen=True):
    """One exposure as the journal keeps it.

    document: its figures as they stood at its last change. passed: keys of the calls that are made or passed over.
    """

    plan: Plan
    identity: Identity
    state: str
    settled: bool
    begin_wall_us: int
    document: ExposureDoc
    passed: list[str] = []


D = TypeVar("D", bound=Doc)


class Store:
    """Queries on one connection."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self.db = db

    # -- targets ---------------------------------------------------------------------------------------------

    def targets(self) -> list[Target]:
        """The newest version of each target, by name."""
        rows = self.db.execute(
            "SELECT target FROM target t"
            " WHERE version = (SELECT max(version) FROM target WHERE name = t.name) ORDER BY name"
        )
        return [msgspec.json.decode(r[0], type=Target) for r in rows]

    def versions(self, name: str) -> list[Target]:
        """Every version of one target, oldest first. Raises `Refusal` when there is none."""
        rows = self.db.execute("SELECT target FROM target WHERE name = ? ORDER BY version", (name,)).fetchall()
        if not rows:
            known = ", ".join(t.name for t in self.targets())
            raise Refusal(f"no target {name!r}; " + (
                f"known: {known}" if known else "none is set yet: `uvdose target set NAME --dose MJ_CM2`"
            ))
        return [msgspec.json.decode(r[0], type=Target) for r in rows]

    def newest_target(self, name: str) -> Target | None:
        """The newest version of a target, None when there is none of that name."""
        row = self.db.execute(
            "SELECT target FROM target WHERE name = ? ORDER BY version DESC LIMIT 1", (name,)
        ).fetchone()
        return None if row is None else msgspec.json.decode(row[0], type=Target)

    def known_who(self) -> dict[str, str]:
        """What each node last said of itself, by its sensor."""
        rows = self.db.execute("SELECT key, value FROM meta WHERE key LIKE 'who:%'")
        return {str(key)[4:]: str(value) for key, value in rows}

    # -- exposures -------------------------------------------------------------------------------------------

    _EXPOSURE = (
        "SELECT e.plan, s.identity, e.state, e.settled, e.begin_wall_us, e.shown, e.passed FROM exposure e"
        " JOIN sensor s ON s.id = e.sensor"
    )

    def exposure(self, number: int) -> Kept:
        """One exposure. Raises `Refusal` when it is not there."""
        row = self.db.execute(f"{self._EXPOSURE} WHERE e.id = ?", (number,)).fetchone()
        if row is None:
            raise Refusal(f"no exposure {number} in the journal; `uvdose day` lists those of a day")
        return _kept(row)

    def unsettled(self) -> list[Kept]:
        """Exposures that still take light in, oldest first."""
        return [_kept(r) for r in self.db.execute(f"{self._EXPOSURE} WHERE e.settled = 0 ORDER BY e.id")]

    def between(self, wall0_us: int, wall1_us: int) -> list[Kept]:
        """Exposures begun in a stretch of wall time, oldest first."""
        rows = self.db.execute(
            f"{self._EXPOSURE} WHERE e.begin_wall_us >= ? AND e.begin_wall_us < ? ORDER BY e.id", (wall0_us, wall1_us)
        )
        return [_kept(r) for r in rows]

    def parts(self, kind: str, name: str) -> list[Kept]:
        """Exposures that are a part of something: of a strip, a tablet, an edition; oldest first."""
        rows = self.db.execute(
            f"{self._EXPOSURE} WHERE json_extract(e.plan, '$.part.kind') = ?"
            " AND json_extract(e.plan, '$.part.name') = ? ORDER BY e.id", (kind, name)
        )
        return [_kept(r) for r in rows]

    def of_target(self, name: str) -> list[Kept]:
        """Exposures made with any version of a target, oldest first."""
        rows = self.db.execute(
            f"{self._EXPOSURE} WHERE json_extract(e.plan, '$.target.name') = ? ORDER BY e.id", (name,)
        )
        return [_kept(r) for r in rows]

    def lately_used(self, most: int) -> list[tuple[str, str | None, str]]:
        """Frame, target and sensor of the last exposures, newest first; target None for a calibration print."""
        rows = self.db.execute(
            "SELECT json_extract(plan, '$.frame'), json_extract(plan, '$.target.name'),"
            " json_extract(plan, '$.target.version'), json_extract(plan, '$.sensor') FROM exposure"
            " ORDER BY id DESC LIMIT ?", (most,)
        )
        return [(str(frame), str(name) if version else None, str(sensor)) for frame, name, version, sensor in rows]

    def finished(self) -> list[Kept]:
        """Every finished exposure, oldest first."""
        return [_kept(r) for r in self.db.execute(f"{self._EXPOSURE} WHERE e.state = 'finished' ORDER BY e.id")]

    def newest_word(self) -> tuple[int, int]:
        """The newest event and the newest note, 0 where there is none: while both stay, nothing was done or said."""
        event, note = self.db.execute("SELECT (SELECT max(id) FROM event), (SELECT max(id) FROM note)").fetchone()
        return int(event or 0), int(note or 0)

    def beside(self, wall0_us: int, wall1_us: int) -> tuple[int | None, int | None]:
        """When the last exposure before a stretch of wall time began, and the first one after it."""
        before, after = self.db.execute(
            "SELECT (SELECT max(begin_wall_us) FROM exposure WHERE begin_wall_us < ?),"
            " (SELECT min(begin_wall_us) FROM exposure WHERE begin_wall_us >= ?)", (wall0_us, wall1_us)
        ).fetchone()
        return before, after

    def last_day_wall_us(self) -> int | None:
        """When the newest exposure began."""
        found = self.db.execute("SELECT max(begin_wall_us) FROM exposure").fetchone()[0]
        return None if found is None else int(found)

    def acts(self, number: int) -> list[ActRecord]:
        """The acts of an exposure, in order."""
        rows = self.db.execute(
            "SELECT number, act, t_us, mark, refined, moved, withdrawn, by_light, closed FROM act WHERE exposure = ?"
            " ORDER BY number", (number,)
        )

        def mark(text: str | None) -> Mark | None:
            return msgspec.json.decode(text, type=Mark) if text else None

        return [
            ActRecord(n, Act(a), t, msgspec.json.decode(m, type=Mark), mark(r), mark(v), bool(w), bool(by),
                      msgspec.json.decode(c, type=MomentSegment) if c else None)
            for n, a, t, m, r, v, w, by, c in rows
        ]

    def shades(self, number: int) -> list[tuple[int, int]]:
        """Stretches (dose time) in which the sensor of an exposure did not see the print's light."""
        rows = self.db.execute("SELECT t0_us, t1_us FROM shade WHERE exposure = ? ORDER BY t0_us", (number,))
        return [(int(a), int(b)) for a, b in rows]

    def reached_us(self, number: int) -> int | None:
        """When an exposure last reached its target, dose time; None when it never did."""
        row = self.db.execute(
            "SELECT t_us FROM event WHERE exposure = ? AND event = 'reached' ORDER BY id DESC LIMIT 1", (number,)
        ).fetchone()
        return None if row is None else int(row[0])

    def armed(self, number: int) -> tuple[str, int] | None:
        """Sensor and register that a node was armed with last for an exposure."""
        row = self.db.execute(
            "SELECT sensor, json_extract(data, '$.register') FROM event WHERE exposure = ? AND event = 'armed'"
            " ORDER BY id DESC LIMIT 1", (number,)
        ).fetchone()
        return None if row is None else (str(row[0]), int(row[1]))

    def open_calls(self) -> list[Ring]:
        """Calls to be made again after a restart."""
        rows = self.db.execute(
            "SELECT exposure, key, kind, sensor, t_us, insist, text FROM call WHERE ended_us IS NULL"
            " AND (insist = 1 OR proven_us IS NULL) ORDER BY t_us"
        )
        return [Ring(e, k, kind, s, t, bool(i), text) for e, k, kind, s, t, i, text in rows]

    # -- events ----------------------------------------------------------------------------------------------

    def events(self, after: int = 0, wall0_us: int = 0, wall1_us: int = 1 << 62, limit: int = 10_000) -> list[EventDoc]:
        """Events with an id above `after`, within a stretch of wall time, oldest first."""
        rows = self.db.execute(
            "SELECT id, wall_us, event, exposure, sensor, data FROM event WHERE id > ? AND wall_us >= ? AND wall_us < ?"
            " ORDER BY id LIMIT ?", (after, wall0_us, wall1_us, limit)
        )
        return [EventDoc(i, iso_utc(w), e, x, s, msgspec.json.decode(d)) for i, w, e, x, s, d in rows]

    # -- notes -----------------------------------------------------------------------------------------------

    def notes(self, kind: type[D]) -> dict[str, D]:
        """The newest note of each subject of a kind, in the order in which the subjects were begun."""
        rows = self.db.execute("SELECT subject, data FROM note WHERE kind = ? ORDER BY id", (kind_name(kind),))
        return {str(subject): msgspec.json.decode(data, type=kind) for subject, data in rows}

    def newest_note(self, kind: type[D], subject: str) -> tuple[int, D | None]:
        """The id of a subject's newest note, and the note; 0 and None where there is none."""
        row = self.db.execute(
            "SELECT id, data FROM note WHERE kind = ? AND subject = ? ORDER BY id DESC LIMIT 1",
            (kind_name(kind), subject),
        ).fetchone()
        return (0, None) if row is None else (int(row[0]), msgspec.json.decode(row[1], type=kind))

    def note_history(self, kind: type[D], subject: str) -> list[tuple[int, D]]:
        """Every note on a subject with its wall time, oldest first."""
        rows = self.db.execute(
            "SELECT wall_us, data FROM note WHERE kind = ? AND subject = ? ORDER BY id", (kind_name(kind), subject)
        )
        return [(int(w), msgspec.json.decode(data, type=kind)) for w, data in rows]

    def pictures(self) -> Iterator[tuple[int, Picture]]:
        """The picture of every version of every note on a print, with the print's number, oldest first."""
        rows = self.db.execute("SELECT subject, data FROM note WHERE kind = ? ORDER BY id", (kind_name(PrintNote),))
        for subject, data in rows:
            note = msgspec.json.decode(data, type=PrintNote)
            if note.picture is not None and str(subject).isdigit():
                yield int(subject), note.picture

    def newest_note_id(self, kind: str, subject: str) -> int:
        """The id of a subject's newest note; 0 where there is none."""
        row = self.db.execute("SELECT max(id) FROM note WHERE kind = ? AND subject = ?", (kind, subject)).fetchone()
        return int(row[0] or 0)

    def last_number(self, kind: str, at_least: int = 0) -> int:
        """The highest number that a note of a kind has as its subject."""
        rows = self.db.execute("SELECT DISTINCT subject FROM note WHERE kind = ?", (kind,))
        return max([at_least, *(int(s) for (s,) in rows if str(s).isascii() and str(s).isdigit())])

    # -- readings --------------------------------------------------------------------------------------------

    def readings(self, sensor: str, t0_us: int, t1_us: int = 1 << 62) -> Iterator[tuple[int, Reading]]:
        """Raw readings of a sensor, whatever its settings were, from t0 to t1 (dose time), in order."""
        rows = self.db.execute(
            "SELECT c.kind, c.data FROM chunk c JOIN sensor s ON s.id = c.sensor"
            " WHERE s.name = ? AND c.t1_us >= ? AND c.t0_us <= ? ORDER BY c.id", (sensor, t0_us, t1_us)
        )
        for kind, data in rows:
            for t_us, reading in unpack(kind, data):
                if t0_us <= t_us <= t1_us:
                    yield t_us, reading

    # -- time ------------------------------------------------------------------------------------------------

    def last_epoch(self) -> Epoch | None:
        """The newest epoch."""
        row = self.db.execute("SELECT epoch FROM epoch ORDER BY id DESC LIMIT 1").fetchone()
        return None if row is None else msgspec.json.decode(row[0], type=Epoch)

    def last_times(self) -> tuple[int, int]:
        """The newest dose time of the bench in the journal and a wall time that belongs to it; zeros in a new one."""
        found = [
            self.db.execute("SELECT t1_us, wall0_us + t1_us - t0_us FROM chunk"
                            f" WHERE {OF_THE_BENCH} ORDER BY id DESC LIMIT 1").fetchone(),
            self.db.execute("SELECT t_us, wall_us FROM event ORDER BY id DESC LIMIT 1").fetchone(),
        ]
        return max(((int(t), int(w)) for t, w in filter(None, found)), default=(0, 0))


def _kept(row: tuple[str, str, str, int, int, str, str]) -> Kept:
    plan, identity, state, settled, wall_us, shown, passed = row
    return Kept(
        msgspec.json.decode(plan, type=Plan), msgspec.json.decode(identity, type=Identity), state, bool(settled),
        wall_us, msgspec.json.decode(shown, type=ExposureDoc), msgspec.json.decode(passed, type=list[str]),
    )
