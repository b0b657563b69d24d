"""What the bench decided, as statements for the writer. Keeps the ids that only one writer hands out."""

from __future__ import annotations

import sqlite3
from bisect import bisect_right
from collections.abc import Callable
from typing import NamedTuple

import msgspec

from ..dose.response import Identity
from ..exposure.exposure import Exposure
from ..exposure.outcome import Kept, Outcome
from ..exposure.target import Target
from ..messages import EventDoc, ExposureDoc
from ..model import Fact, Refusal, RegisterRun
from ..notes import Doc
from ..stamps import iso_utc
from .pack import CHUNK, REGISTER, Columns, kind_of
from .store import Store
from .writer import Statement

MAX_CHUNK_SPAN_US = 3_600_000_000


def _json(value: object) -> str:
    return msgspec.json.encode(value).decode()


class Noted(NamedTuple):
    """A note as it is to be written. subject: for a new one the next number of its kind; id: of this version."""

    subject: str
    id: int
    statements: list[Statement]


class _Tail:
    """The newest, still growing chunk of one sensor."""

    def __init__(self, chunk_id: int, sensor_id: int, kind: int, wall0_us: int) -> None:
        self.id = chunk_id
        self.sensor_id = sensor_id
        self.wall0_us = wall0_us
        self.columns = Columns(kind)
        self.dirty = False

    def has_room(self, kind: int, t_us: int) -> bool:
        """Whether a reading can still go into it."""
        columns = self.columns
        return kind == columns.kind and len(columns) < CHUNK and t_us - columns.t_us[0] <= MAX_CHUNK_SPAN_US

    def packed(self) -> Statement:
        """The chunk as it stands, to be written over what was there."""
        self.dirty = False
        columns, t_us = self.columns, self.columns.t_us
        return (
            "INSERT OR REPLACE INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (self.id, self.sensor_id, columns.kind, t_us[0], t_us[-1], self.wall0_us, len(columns), columns.pack()),
        )


class Recorder:
    """Turns outcomes into statements. `label(t_us)` gives the wall time of a dose time."""

    def __init__(self, db: sqlite3.Connection, label: Callable[[int], int]) -> None:
        self._label = label
        self.store = Store(db)
        self._sensor_ids: dict[str, int] = {}
        self._tails: dict[str, _Tail] = {}
        self._closed: list[Statement] = []
        self._numbers: dict[str, int] = {}
        self._newest_notes: dict[tuple[str, str], int] = {}
        self._note_id = self._next(db, "note")
        # Nor is the number of a block whose readings are in the minutes, though the block itself may have been lost.
        summed = int(db.execute("SELECT coalesce(max(chunk), 0) FROM summed").fetchone()[0])
        self._chunk_id = max(self._next(db, "chunk"), summed + 1)
        self._event_id = self._next(db, "event")
        # A number that was pencilled on a sheet is not given again, though its row may have been lost to a bad disk.
        told = int(db.execute("SELECT coalesce(max(exposure), 0) FROM event").fetchone()[0])
        self._exposure_id = max(self._next(db, "exposure"), told + 1)
        self._sensor_id = self._next(db, "sensor")

    @staticmethod
    def _next(db: sqlite3.Connection, table: str) -> int:
        return int(db.execute(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()[0]) + 1

    def next_exposure(self) -> int:
        """A new exposure's id: the number to pencil on the sheet's back."""
        self._exposure_id += 1
        return self._exposure_id - 1

    def sensor(self, identity: Identity) -> list[Statement]:
        """A sensor as it is set up now; a new row when anything of its identity has changed.

        A chunk holds readings of one row alone: the one that is growing is ended.
        """
        tail = self._tails.pop(identity.name, None)
        if tail is not None and tail.dirty:
            self._closed.append(tail.packed())
        db = self.store.db
        text = _json(identity)
        row = db.execute(
            "SELECT id, identity FROM sensor WHERE name = ? ORDER BY id DESC LIMIT 1", (identity.name,)
        ).fetchone()
        if row is not None and msgspec.json.decode(row[1], type=Identity) == identity:
            self._sensor_ids[identity.name] = int(row[0])
            return []
        self._sensor_ids[identity.name] = self._sensor_id
        self._sensor_id += 1
        return [("INSERT INTO sensor VALUES (?, ?, ?)", (self._sensor_ids[identity.name], identity.name, text))]

    def who(self, sensor: str, text: str) -> list[Statement]:
        """What a node says of itself now."""
        return [("INSERT OR REPLACE INTO meta VALUES (?, ?)", (f"who:{sensor}", text))]

    @staticmethod
    def json(value: object) -> str:
        """A value as the journal's columns hold it."""
        return _json(value)

    def target(self, target: Target) -> list[Statement]:
        """One more version of a target."""
        return [("INSERT INTO target VALUES (?, ?, ?)", (target.name, target.version, _json(target)))]

    def note(self, kind: str, subject: str | None, note: Doc, wall_us: int, based_on: int | None = None) -> Noted:
        """One more note. Raises `Refusal` where it is based on another version than the newest; None: it holds.

        The newest may not be on disk yet, so that it is kept in mind here.
        """
        if subject is None:
            subject = str(self.store.last_number(kind, self._numbers.get(kind, 0)) + 1)
            self._numbers[kind] = int(subject)
        about = (kind, subject)
        if based_on is not None:
            newest = self._newest_notes.get(about) or self.store.newest_note_id(kind, subject)
            if newest != based_on:
                raise Refusal(f"{kind} {subject} was changed meanwhile by somebody else: look at it and say it again")
        number = self._newest_notes[about] = self._note_id
        self._note_id += 1
        return Noted(subject, number, [
            ("INSERT INTO note (id, wall_us, kind, subject, data) VALUES (?, ?, ?, ?, ?)",
             (number, wall_us, kind, subject, _json(note))),
        ])

    def keep_readings(self, kept: list[Kept]) -> None:
        """Take readings in; `flush` gives the statements."""
        for item in kept:
            if isinstance(item[2], RegisterRun):
                self._keep_run(item[0], item[1], item[2])
            else:
                self._tail(item[0], kind_of(item[2]), item[1]).columns.add(item[1], item[2])

    def _keep_run(self, sensor: str, t_us: list[int], run: RegisterRun) -> None:
        at = 0
        while at < len(t_us):
            columns = self._tail(sensor, REGISTER, t_us[at]).columns
            first_us = columns.t_us[0] if len(columns) else t_us[at]
            until = min(at + CHUNK - len(columns), bisect_right(t_us, first_us + MAX_CHUNK_SPAN_US))
            columns.add_run(t_us, run, at, until)
            at = until

    def _tail(self, sensor: str, kind: int, t_us: int) -> _Tail:
        """The chunk that a reading goes into: the growing one, or a new one."""
        tail = self._tails.get(sensor)
        if tail is None or not tail.has_room(kind, t_us):
            if tail is not None and tail.dirty:
                self._closed.append(tail.packed())
            tail = self._tails[sensor] = _Tail(self._chunk_id, self._sensor_ids[sensor], kind, self._label(t_us))
            self._chunk_id += 1
        tail.dirty = True
        return tail

    @property
    def full_chunks(self) -> int:
        """How many full chunks wait for `flush`."""
        return len(self._closed)

    def flush(self) -> list[Statement]:
        """Statements for all readings taken in since the last flush: the growing chunk is written over."""
        out = [*self._closed, *(tail.packed() for tail in self._tails.values() if tail.dirty)]
        self._closed.clear()
        return out

    def outcome(self, out: Outcome, documents: dict[int, ExposureDoc]) -> tuple[list[Statement], list[EventDoc]]:
        """Statements for all but the readings, and the events as they will be told."""
        statements: list[Statement] = []
        for exposure in out.changed:
            statements.append(self.exposure(exposure, documents[exposure.id]))
        for number, record in out.acts:
            statements.append((
                "INSERT INTO act (exposure, number, act, t_us, wall_us, mark, by_light) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (number, record.number, str(record.act), record.t_us, self._label(record.t_us), _json(record.mark),
                 int(record.by_light)),
            ))
        for number, act, mark in out.refined:
            statements.append(
                ("UPDATE act SET refined = ? WHERE exposure = ? AND number = ?", (_json(mark), number, act))
            )
        for number, record in out.closed:
            statements.append(
                ("UPDATE act SET closed = ? WHERE exposure = ? AND number = ?",
                 (_json(record.closed), number, record.number))
            )
        events = [self._event(fact, statements) for fact in out.facts]
        for ring in out.rings:
            statements.append((
                "INSERT OR REPLACE INTO call VALUES (?, ?, ?, ?, ?, ?, ?, NULL, NULL)",
                (ring.exposure, ring.key, ring.kind, ring.sensor, ring.t_us, int(ring.insist), ring.text),
            ))
        for number, key in out.hushes:
            statements.append(
                ("UPDATE call SET ended_us = t_us WHERE exposure = ? AND key = ? AND ended_us IS NULL", (number, key))
            )
        return statements, events

    def proven(self, exposure: int, key: str, t_us: int) -> list[Statement]:
        """A call is known to have sounded."""
        return [("UPDATE call SET proven_us = ? WHERE exposure = ? AND key = ?", (t_us, exposure, key))]

    def _event(self, fact: Fact, statements: list[Statement]) -> EventDoc:
        wall_us = self._label(fact.t_us)
        number = self._event_id
        self._event_id += 1
        statements.append((
            "INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?)",
            (number, fact.t_us, wall_us, fact.name, fact.exposure, fact.sensor, _json(fact.data)),
        ))
        return EventDoc(number, iso_utc(wall_us), fact.name, fact.exposure, fact.sensor, fact.data)

    def exposure(self, exposure: Exposure, shown: ExposureDoc) -> Statement:
        """An exposure as it stands: its plan at first, its figures each time."""
        plan = exposure.plan
        return (
            "INSERT INTO exposure (id, sensor, begin_us, begin_wall_us, plan, state, settled, shown, passed)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET state = excluded.state,"
            " settled = excluded.settled, shown = excluded.shown, passed = excluded.passed",
            (plan.id, self._sensor_ids[plan.sensor], plan.begin_us, self._label(plan.begin_us), _json(plan),
             str(exposure.state), int(exposure.settled), _json(shown), _json(sorted(exposure.passed))),
        )
