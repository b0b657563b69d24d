"""Which readings of a journal were brought in from a file, and never came from a sensor of the bench.

They lie under a sensor's name of their own, that no live sensor may have. So their dose times, which belong to the
recording, never meet those of the bench: all that counts goes by the sensor's name.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

import msgspec

from ..dose.minute import MINUTE_US
from ..dose.response import Identity
from ..model import Refusal

IMPORTED = "imported"  # the key in `meta`

# The rows of `sensor` whose readings were brought in, for queries.
SENSORS = (
    "SELECT s.id FROM sensor s WHERE s.name IN (SELECT json_extract(j.value, '$.sensor') FROM meta m,"
    f" json_each(iif(json_valid(m.value), m.value, '[]')) j WHERE m.key = '{IMPORTED}')"
)
# Dose times that are times since 1970 are those of a file, also where a damaged journal has lost which were brought in.
OF_THE_BENCH = f"sensor NOT IN ({SENSORS}) AND t0_us <> wall0_us"


_IS_LIGHT = 0.05  # of its strongest: from there on it is light, and not dusk


def sensors_brought_in(db: sqlite3.Connection) -> list[str]:
    """Names of sensors whose readings came from a file; none where the list of them is damaged."""
    return [str(r[0]) for r in db.execute(f"SELECT DISTINCT name FROM sensor WHERE id IN ({SENSORS}) ORDER BY name")]


def identities_brought_in(db: sqlite3.Connection) -> list[Identity]:
    """What each of them was set up as when the last file came in, in the order of their names."""
    rows = db.execute(
        f"SELECT identity FROM sensor WHERE id IN (SELECT max(id) FROM sensor WHERE id IN ({SENSORS}) GROUP BY name)"
        " ORDER BY name"
    )
    return [msgspec.json.decode(text, type=Identity) for (text,) in rows]


def last_light_us(db: sqlite3.Connection) -> int | None:
    """When the newest light in readings that were brought in fell, to the minute (microseconds since 1970); None where
    nothing was brought in."""
    above = "m.strongest - json_extract(s.identity, '$.zero')"
    found = db.execute(
        f"WITH top AS (SELECT m.sensor, max({above}) AS most FROM minute m JOIN sensor s ON s.id = m.sensor"
        f" WHERE s.id IN ({SENSORS}) GROUP BY m.sensor)"
        f" SELECT max(m.minute) FROM minute m JOIN sensor s ON s.id = m.sensor JOIN top ON top.sensor = m.sensor"
        f" WHERE {above} >= {_IS_LIGHT} * top.most"
    ).fetchone()[0]
    return None if found is None else int(found) * MINUTE_US


class Imported(msgspec.Struct, frozen=True):
    """One file that was brought in. Times in microseconds: dose time, and wall labels.

    sha256: of the file. columns: what of it was read. left_out: how many rows were not taken, or are odd, by what is
    wrong with them. how: unit, times and the like that it was read by. own: an export, whose dose times are kept; else
    dose time is the time since 1970 UTC.
    """

    sensor: str
    file: str
    sha256: str
    columns: str
    own: bool
    readings: int
    t0_us: int
    t1_us: int
    wall0_us: int
    wall1_us: int
    utc: str
    left_out: dict[str, int] = {}
    how: str = ""


def imported(db: sqlite3.Connection) -> list[Imported]:
    """All that was ever brought in, the oldest first. Raises `Refusal` where that is damaged."""
    row = db.execute("SELECT value FROM meta WHERE key = ?", (IMPORTED,)).fetchone()
    try:
        return msgspec.json.decode(row[0], type=list[Imported]) if row is not None else []
    except (msgspec.MsgspecError, TypeError) as err:
        raise Refusal(f"the journal's list of what was brought in is damaged ({err}): bring it back from a backup") \
            from None


def refuse_shared(db: sqlite3.Connection, live: Iterable[str]) -> None:
    """Raises `Refusal` where a sensor of the settings has the name of readings that were brought in."""
    try:
        names = {i.sensor for i in imported(db)}
    except Refusal:
        return  # a bench that would not start for that would count nothing; `journal check` tells it
    if shared := sorted(names & set(live)):
        raise Refusal(
            f"sensor {shared[0]}: readings from a file lie in the journal under this name, and are never mixed with"
            " live ones: give the sensor another name in the settings"
        )
