"""What a review of a stretch of days asks of the journal, beyond its exposures and readings."""

from __future__ import annotations

from typing import TypeVar

import msgspec

from ..exposure.target import Target
from ..model import Refusal
from ..notes import Doc, kind_name
from ..stamps import iso_utc, local_date
from .imported import last_light_us
from .store import Kept, Store

D = TypeVar("D", bound=Doc)


def newest_day(store: Store) -> str:
    """The newest local day with exposures; where there are none, with light that was brought in from a file. Raises
    `Refusal` when there is neither."""
    wall_us = store.last_day_wall_us()
    if wall_us is None:
        wall_us = last_light_us(store.db)
    if wall_us is None:
        raise Refusal("no exposure in the journal yet: `uvdose expose TARGET` begins one")
    return local_date(wall_us)


def lying_at(store: Store, wall_us: int) -> list[Kept]:
    """Exposures begun before a moment that had not ended then, oldest first."""
    rows = store.db.execute(
        "SELECT id FROM exposure WHERE begin_wall_us < ? AND (settled = 0"
        " OR json_extract(shown, '$.finished_utc') > ?) ORDER BY id", (wall_us, iso_utc(wall_us))
    )
    return [store.exposure(number) for (number,) in rows]


def targets_made(store: Store, wall0_us: int, wall1_us: int) -> list[tuple[Target, Target | None]]:
    """Versions made in a stretch of wall time, oldest first, each with the version before it."""
    rows = store.db.execute(
        "SELECT t.target, b.target FROM target t LEFT JOIN target b ON b.name = t.name AND b.version ="
        " (SELECT max(version) FROM target WHERE name = t.name AND version < t.version)"
        " WHERE json_extract(t.target, '$.made_utc') >= ? AND json_extract(t.target, '$.made_utc') < ?"
        " ORDER BY json_extract(t.target, '$.made_utc'), t.version", (iso_utc(wall0_us), iso_utc(wall1_us))
    )
    return [
        (msgspec.json.decode(now, type=Target), None if b is None else msgspec.json.decode(b, type=Target))
        for now, b in rows
    ]


def alarms(store: Store, wall0_us: int, wall1_us: int) -> list[tuple[int, str, str, str]]:
    """Alarms of sensors that came or went in a stretch of wall time: wall time, alarm or cleared, sensor, its key."""
    return store.db.execute(
        "SELECT wall_us, event, sensor, json_extract(data, '$.alarm') FROM event WHERE wall_us >= ? AND wall_us < ?"
        " AND event IN ('alarm', 'cleared') AND sensor IS NOT NULL ORDER BY id", (wall0_us, wall1_us)
    ).fetchall()


def notes_made(store: Store, kind: type[D], wall0_us: int, wall1_us: int) -> list[tuple[int, str, D]]:
    """Notes of a kind made in a stretch of wall time, each with its wall time and its subject, oldest first."""
    rows = store.db.execute(
        "SELECT wall_us, subject, data FROM note WHERE kind = ? AND wall_us >= ? AND wall_us < ? ORDER BY id",
        (kind_name(kind), wall0_us, wall1_us),
    )
    return [(int(w), str(subject), msgspec.json.decode(data, type=kind)) for w, subject, data in rows]
