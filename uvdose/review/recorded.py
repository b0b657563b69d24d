"""Readings of a stretch of wall time as arrays, by sensor: what a day, its minutes and a clock's dose are made of.

Sums are about: light goes straight from one momentary value to the next, over holes as well; a mean holds flat over
its stretch. A print's own dose is never made here.
"""

from __future__ import annotations

from typing import NamedTuple

import msgspec
import numpy as np
import numpy.typing as npt

from ..dose.integrator import BRIDGE_US, HOLE_INTERVALS
from ..journal.pack import MEAN, REGISTER, unpack_sat_ms, unpack_spans, unpack_values
from ..journal.store import Store
from ..units import US_PER_S, dose_unit
from .raw import Chunk, Scale, chunks

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
FOREVER = 1 << 60


class Stretch(msgspec.Struct, frozen=True):
    """A stretch of time, in microseconds: wall labels, unless it is said to be of dose time."""

    start_us: int
    stop_us: int


class Part(NamedTuple):
    """One chunk's readings: wall labels and dose times (microseconds), light in the unit of the screen.

    flat_us: over how long up to its time a reading holds flat, FOREVER for a node's line, which tells all since the
    one before. full: of a momentary value or a mean 1 at full scale; of a line milliseconds of it since its boot.
    """

    wall_us: Whole
    t_us: Whole
    light: Floats
    flat_us: Whole
    full: Floats

    def only(self, which: npt.NDArray[np.bool_]) -> Part:
        """Some of the readings."""
        return Part(*(column[which] for column in self))  # type: ignore[arg-type]


class Recorded:
    """One sensor's readings in rising dose time, on the scale that each came under.

    wall_us, t_us: wall label and dose time. at_us: wall label of the middle of what a mean tells; of others the label.
    light: irradiance in `unit`. step_us, area: time and dose since the reading before, 0 at the first. unread_us: how
    much of the step nothing tells but the readings at its ends. full_us: how much of it was at the sensor's full scale.
    usual_us: the usual step, 0 of a single reading. bridged_us: steps up to this long tell the light between their
    ends, as a print's count has it: a minute, of a sensor that is read seldom three of its intervals.
    """

    def __init__(self, name: str, unit: str, parts: list[Part]) -> None:
        wall, t, light, flat, full = (np.concatenate(column) for column in zip(*parts, strict=True))
        order = np.argsort(t, kind="stable")
        self.name = name
        self.unit = unit
        self.wall_us, self.t_us, self.light = wall[order], t[order], light[order]
        self.step_us = np.diff(self.t_us, prepend=self.t_us[:1])
        is_line = flat[order] == FOREVER
        self._flat_us = np.minimum(flat[order], self.step_us)
        self._mean_us = np.where(is_line, 0, self._flat_us)
        self.at_us = self.wall_us - self._mean_us // 2
        self.unread_us = self.step_us - self._mean_us
        self._before = np.concatenate([self.light[:1], self.light[:-1]])
        open_us = self.step_us - self._flat_us
        self.area = (open_us * (self._before + self.light) / 2 + self._flat_us * self.light) / US_PER_S
        told = full[order]
        grown = np.diff(told, prepend=told[:1])
        grown = np.clip(np.where(grown < 0, told, grown) * 1000, 0, self.step_us)  # less than before: it was off
        at_full = np.maximum(told, np.concatenate([told[:1], told[:-1]])) * self.step_us
        at_full = np.where(self._mean_us > 0, told * self._mean_us, at_full)
        self.full_us = np.where(is_line, grown, at_full)
        self.usual_us = float(np.median(self.step_us[1:])) if len(self.t_us) > 1 else 0.0
        usual_unread_us = float(np.median(self.unread_us[1:])) if len(self.t_us) > 1 else 0.0  # of means none
        self.bridged_us = max(float(BRIDGE_US), HOLE_INTERVALS * usual_unread_us)
        self._area_sum = np.cumsum(self.area)

    @property
    def dose_unit(self) -> str:
        """The unit of its doses."""
        return dose_unit(self.unit, scaled=False)

    def dose_time(self, wall_us: Whole) -> Whole:
        """Dose times of wall labels; beyond the readings as at their ends."""
        k = np.clip(np.searchsorted(self.wall_us, wall_us, side="right") - 1, 0, len(self.t_us) - 1)
        found: Whole = self.t_us[k] + (wall_us - self.wall_us[k])
        return found

    def dose_until(self, t_us: Whole) -> Floats:
        """Dose from the first reading up to dose times between the first and the last one."""
        k = self._next(t_us)
        since_us = np.clip(t_us - self.t_us[k - 1], 0, self.step_us[k])
        open_us = self.step_us[k] - self._flat_us[k]
        rising_s = np.minimum(since_us, open_us) / US_PER_S
        slope = (self.light[k] - self._before[k]) / np.maximum(open_us, 1) * US_PER_S
        found: Floats = self._area_sum[k - 1] + rising_s * (self._before[k] + slope * rising_s / 2)
        found += (since_us / US_PER_S - rising_s) * self.light[k]
        return found

    def reaches(self, from_us: int, to_us: int) -> bool:
        """Whether readings tell the light from one dose time to another, with no hole too long to be bridged."""
        t = self.t_us
        if len(t) < 2 or from_us < t[0] or to_us > t[-1]:
            return False
        first, last = np.searchsorted(t, [from_us + 1, to_us])
        longest = self.unread_us[first : last + 1].max(initial=0)
        return bool(longest <= self.bridged_us)

    def light_at(self, t_us: int) -> float | None:
        """The irradiance at a dose time; None where no reading tells it, or lies within 60 s of it."""
        k = int(np.searchsorted(self.t_us, t_us))
        near = slice(max(0, k - 1), k + 1)
        if np.abs(self.t_us[near] - t_us).min() > BRIDGE_US and not self._in_mean(np.array([t_us]))[0]:
            return None
        return float(self.straight(np.array([t_us]))[0])

    def straight(self, t_us: Whole) -> Floats:
        """The irradiance at dose times: on straight lines between the readings, within a mean's stretch that."""
        drawn: Floats = np.interp(t_us, self.t_us, self.light)
        return np.where(self._in_mean(t_us), self.light[self._at_or_after(t_us)], drawn)

    def _in_mean(self, t_us: Whole) -> npt.NDArray[np.bool_]:
        k = self._at_or_after(t_us)
        found: npt.NDArray[np.bool_] = (t_us <= self.t_us[k]) & (t_us > self.t_us[k] - self._mean_us[k])
        return found

    def _at_or_after(self, t_us: Whole) -> Whole:
        found: Whole = np.minimum(np.searchsorted(self.t_us, t_us), len(self.t_us) - 1)
        return found

    def holes(self, from_us: int, to_us: int) -> Whole:
        """Lengths of the holes too long to be bridged that ended within a stretch of wall time."""
        inside = (self.wall_us >= from_us) & (self.wall_us < to_us)
        found: Whole = self.unread_us[inside & (self.unread_us > self.bridged_us)]
        return found

    def full_s(self, from_us: int, to_us: int) -> float:
        """Seconds at full scale within a stretch of wall time."""
        return float(self.full_us[(self.wall_us >= from_us) & (self.wall_us < to_us)].sum()) / US_PER_S

    def _next(self, t_us: Whole) -> Whole:
        if len(self.t_us) < 2:
            raise ValueError("one reading makes no stretch")
        found: Whole = np.clip(np.searchsorted(self.t_us, t_us), 1, len(self.t_us) - 1)
        return found


def read(store: Store, wall0_us: int, wall1_us: int) -> list[Recorded]:
    """Readings whose labels lie in a stretch of wall time, one `Recorded` for each sensor and unit.

    Raises `Refusal` for a damaged chunk.
    """
    found: dict[tuple[str, str], list[Part]] = {}
    for chunk in chunks(store, wall0_us, wall1_us):
        try:
            scale = Scale(chunk.identity)
            part = _part(chunk, scale)
        except ValueError as err:
            raise chunk.damaged(err) from None
        inside = (part.wall_us >= wall0_us) & (part.wall_us < wall1_us)
        if inside.any():
            found.setdefault((chunk.identity.name, scale.unit), []).append(part.only(inside))
    return [Recorded(name, unit, parts) for (name, unit), parts in found.items()]


def _part(chunk: Chunk, scale: Scale) -> Part:
    times, values = unpack_values(chunk.kind, chunk.data)
    full_scale = chunk.identity.full_scale
    flat = np.zeros(len(times), dtype=np.int64)
    full = (values >= (np.inf if full_scale is None else full_scale)).astype(float)
    if chunk.kind == REGISTER:
        flat[:] = FOREVER
        full = unpack_sat_ms(chunk.data).astype(float)
    elif chunk.kind == MEAN:
        flat = unpack_spans(chunk.data)
    return Part(times + chunk.shift_us, times, scale.many(values), flat, full)
