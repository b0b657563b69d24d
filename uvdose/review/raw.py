"""Raw readings out of the journal, each with its wall label and the sensor's identity of then."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import msgspec

from ..dose.integrator import reading_value
from ..dose.response import Identity, identity_response
from ..journal.pack import unpack
from ..journal.store import Store
from ..model import Reading, Refusal, RegisterReading
from ..units import irradiance_unit, to_screen

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


class Run(msgspec.Struct, frozen=True):
    """Readings of one sensor with one identity: (wall label in microseconds, dose time in microseconds, reading)."""

    identity: Identity
    rows: list[tuple[int, int, Reading]]

    @property
    def saturated(self) -> bool:
        """Whether the sensor was at full scale in it, be it for a part of a line."""
        full, told = self.identity.full_scale, [reading for _, _, reading in self.rows]
        if full is not None and any(reading_value(reading) >= full for reading in told):
            return True
        return any(
            isinstance(a, RegisterReading) and isinstance(b, RegisterReading) and a.boot == b.boot
            and a.sat_ms != b.sat_ms for a, b in pairwise(told)
        )


class Scale:
    """From a raw value to irradiance on the screen, for one identity."""

    def __init__(self, identity: Identity) -> None:
        response = identity_response(identity)
        self.unit = irradiance_unit(response.unit)
        self.factor = to_screen(response.factor, self.unit)
        self.zero = response.zero

    def irradiance(self, value: float) -> float:
        """Irradiance in `unit`; a value below zero stays negative."""
        return self.factor * (value - self.zero)

    def many(self, values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """The same of an array."""
        found: npt.NDArray[np.float64] = self.factor * (values - self.zero)
        return found


class Chunk(NamedTuple):
    """One chunk of readings as it is kept. shift_us: wall label less dose time."""

    identity: Identity
    id: int
    kind: int
    shift_us: int
    data: bytes

    def damaged(self, err: ValueError) -> Refusal:
        """What to say where its readings cannot be unpacked."""
        return Refusal(f"raw readings {self.id} of the journal cannot be read: {err}")


def chunks(store: Store, wall0_us: int, wall1_us: int) -> Iterator[Chunk]:
    """Those that hold readings whose labels lie in a stretch of wall time, or may; in the order of their ids."""
    from ..journal.recorder import MAX_CHUNK_SPAN_US  # all that counts comes with it, which a year's minutes do without

    rows = store.db.execute(
        "SELECT s.identity, c.id, c.kind, c.wall0_us - c.t0_us, c.data FROM chunk c JOIN sensor s ON s.id = c.sensor"
        " WHERE c.wall0_us >= ? AND c.wall0_us < ? AND c.wall0_us + c.t1_us - c.t0_us >= ? ORDER BY c.id",
        (wall0_us - MAX_CHUNK_SPAN_US, wall1_us, wall0_us),
    )
    known: dict[str, Identity] = {}
    for text, *rest in rows:
        if text not in known:
            known[text] = msgspec.json.decode(text, type=Identity)
        yield Chunk(known[text], *rest)


def runs(store: Store, wall0_us: int, wall1_us: int) -> Iterator[Run]:
    """Readings whose labels lie in a stretch of wall time, in the order in which they were kept.

    A chunk that began before the stretch may reach into it. Raises `Refusal` for a damaged chunk.
    """
    for chunk in chunks(store, wall0_us, wall1_us):
        try:
            unpacked = unpack(chunk.kind, chunk.data)
        except ValueError as err:
            raise chunk.damaged(err) from None
        shift_us = chunk.shift_us
        inside = [(t + shift_us, t, r) for t, r in unpacked if wall0_us <= t + shift_us < wall1_us]
        if inside:
            yield Run(chunk.identity, inside)


def identities(store: Store) -> list[Identity]:
    """Every identity that any sensor has had, oldest first."""
    rows = store.db.execute("SELECT identity FROM sensor ORDER BY id")
    return [msgspec.json.decode(r[0], type=Identity) for r in rows]
