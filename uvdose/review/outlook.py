"""A day ahead as one document: how long prints will take, the last that finishes, and how many fit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date as Date
from itertools import repeat

import msgspec
import numpy as np

from ..exposure.target import Target
from ..foretold import BeginDoc, FitDoc, LightAheadDoc, OutlookDoc, PrintsAheadDoc, QueueAheadDoc, WaitingDoc
from ..light.arrays import FloatArray
from ..light.bands import Band
from ..light.daylight import solar_day
from ..light.outlook import Course, Outlook, Spot, course, first_light_s, last_start_s, quantile
from ..light.person import beside_frame
from ..light.skies import Level, Skies, alike, shares_over
from ..stamps import iso_utc
from ..units import US_PER_S, irradiance_unit, to_screen

LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9
LIGHT_EVERY_MIN = 10


class View(msgspec.Struct, frozen=True):
    """What is known at the bench. band: of the sensor. share_now: of a clear sky, measured just now; None: unknown."""

    spot: Spot
    band: Band | tuple[float, float]
    sensor: str
    unit: str
    level: Level
    skies: Skies
    share_now: float | None = None


class Asked(msgspec.Struct, frozen=True):
    """What is asked. from_s, until_s: the day, Unix seconds; now_s: None on another day. queue: label and target.
    beside: of a target's name, what its times do not count."""

    day: Date
    from_s: float
    until_s: float
    now_s: float | None
    made_s: float
    every_s: float
    between_s: float
    targets: Sequence[Target]
    queue: Sequence[tuple[str, Target]] | None = None
    left_out: Sequence[str] = ()
    beside: Mapping[str, Sequence[str]] = {}


class _Ahead:
    """The clear sky (and its 95 % below and above), the skies of the last days, and those that are like it is now."""

    def __init__(self, view: View, asked: Asked) -> None:
        self.course = course(view.spot, asked.from_s, asked.until_s, view.band, view.level.factor)
        doubt = np.array([[1.0], [view.level.low / view.level.factor], [view.level.high / view.level.factor]])
        self.clear = Outlook(self.course, doubt)
        self.shares = shares_over(view.spot, view.skies, self.course) if len(view.skies.rows) else None
        self.past = Outlook(self.course, self.shares) if self.shares is not None else None
        self.now = self.past
        if self.shares is not None and asked.now_s is not None and view.share_now is not None:
            self.now = Outlook(self.course, alike(self.shares, self.course, asked.now_s, view.share_now))
        self.begin_s = asked.now_s if asked.now_s is not None else first_light_s(self.course)

    def begun(self, at_s: float, clear: FloatArray, past: FloatArray | None) -> BeginDoc:
        """clear, past: how long it takes in each sky."""
        minute = min(len(self.course.sun_deg) - 1, int((at_s - self.course.edges_s[0]) // 60.0))
        tell = [_known(v) for v in quantiles(past)] if past is not None else [None] * 3
        return BeginDoc(
            _utc(at_s), round(float(self.course.sun_deg[minute]), 1), _known(clear[0]), _known(clear[2]),
            _known(clear[1]), *tell,
        )  # fmt: skip

    def fit(self, doses: Iterable[float], between_s: float) -> tuple[FitDoc, list[FloatArray], list[FloatArray]]:
        """How many fit, and when each ends: in the clear sky and its doubts, and in the skies of the last days."""
        if self.begin_s is None:
            return FitDoc(0, *([0] * 3 if self.past is not None else [None] * 3)), [], []
        every = list(doses) if isinstance(doses, Sequence) else doses
        done, ends = self.clear.fitting(self.begin_s, every, between_s)
        if self.past is None:
            return FitDoc(int(done[0])), ends, []
        past, past_ends = self.past.fitting(self.begin_s, every, between_s)
        poor, middle, good = (int(quantile(past[:, None], share)[0]) for share in (LOW, MIDDLE, HIGH))
        return FitDoc(int(done[0]), poor, middle, good), ends, past_ends


def quantiles(values: FloatArray) -> list[float]:
    """What one sky in ten, one in two and nine in ten keep to."""
    return [float(quantile(values[:, None], share)[0]) for share in (LOW, MIDDLE, HIGH)]


def foretell(view: View, asked: Asked) -> OutlookDoc:
    """The day ahead."""
    ahead = _Ahead(view, asked)
    day = solar_day(asked.day, view.spot.latitude_deg, view.spot.longitude_deg, view.spot.height_m)
    targets = [_prints(ahead, asked, target) for target in asked.targets]
    means, known = view.skies.means, len(view.skies.means) > 0
    sky = [round(float(quantile(means[:, None], share)[0]), 3) if known else None for share in (LOW, MIDDLE, HIGH)]
    return OutlookDoc(
        date=asked.day.isoformat(), utc=_utc(asked.made_s), sensor=view.sensor, unit=irradiance_unit(view.unit),
        facing=facing(view.spot), sunrise_utc=_when(day.sun.from_utc_s), noon_utc=_utc(day.noon_utc_s),
        sunset_utc=_when(day.sun.until_utc_s), sun_always=day.sun.always, highest_deg=round(day.highest_deg, 1),
        level="measured" if view.level.days_utc_s else "model",
        level_days=[_utc(at) for at in view.level.days_utc_s],
        level_low=view.level.low / view.level.factor, level_high=view.level.high / view.level.factor,
        days=len(means), sky_low=sky[0], sky_typical=sky[1], sky_high=sky[2], targets=targets,
        queue=_queue(ahead, asked), light=_light(ahead, view), caution=_caution(ahead, day.highest_deg, targets),
        left_out=list(asked.left_out),
    )  # fmt: skip


def facing(spot: Spot) -> str:
    """How the frame lies, in words."""
    plane = spot.plane
    if plane.toward_sun:
        return "held to the sun"
    if plane.tilt_deg == 0:
        return "flat"
    return f"tilted {plane.tilt_deg:g}°, " + (
        "turned with the sun" if plane.azimuth_deg is None else f"looking to {plane.azimuth_deg:g}°"
    )


def _prints(ahead: _Ahead, asked: Asked, target: Target) -> PrintsAheadDoc:
    dose, starts = target.dose_base, ahead.course.edges_s[: ahead.course.starts]
    clear = ahead.clear.lasting_s(starts, dose)
    past = ahead.past.lasting_s(starts, dose) if ahead.past is not None else None
    since_s = asked.now_s if asked.now_s is not None else asked.from_s
    begun = []
    for at in np.arange(asked.from_s, asked.until_s, asked.every_s):
        minute = round((at - asked.from_s) / 60.0)
        if at >= since_s and np.isfinite(clear[0, minute]):
            begun.append(ahead.begun(float(at), clear[:, minute], past[:, minute] if past is not None else None))
    now = None
    if asked.now_s is not None and ahead.course.light[min(_minute(ahead.course, asked.now_s), len(starts) - 1)] > 0:
        at_once = ahead.now.lasting_s(asked.now_s, dose)[:, 0] if ahead.now is not None else None
        now = ahead.begun(asked.now_s, ahead.clear.lasting_s(asked.now_s, dose)[:, 0], at_once)
    coming = np.where(starts >= since_s - 60.0, clear[0], np.inf)
    middle = np.where(starts >= since_s - 60.0, quantile(past, MIDDLE), np.inf) if past is not None else None
    return PrintsAheadDoc(
        target.name, target.version, target.dose, target.unit, now, begun, _when(last_start_s(ahead.course, coming)),
        _when(last_start_s(ahead.course, middle)) if middle is not None else None,
        ahead.fit(repeat(dose), asked.between_s)[0], list(asked.beside.get(target.name, ())),
    )  # fmt: skip


def _queue(ahead: _Ahead, asked: Asked) -> QueueAheadDoc | None:
    if asked.queue is None:
        return None
    fit, clear, past = ahead.fit([target.dose_base for _, target in asked.queue], asked.between_s)
    waiting = []
    for k, (label, target) in enumerate(asked.queue):
        end = _finite(float(clear[k][0])) if k < len(clear) else None
        middle = _finite(quantiles(past[k])[1]) if k < len(past) else None
        waiting.append(WaitingDoc(label, target.name, _when(end), _when(middle)))
    return QueueAheadDoc(waiting, asked.between_s, fit)


def _light(ahead: _Ahead, view: View) -> list[LightAheadDoc]:
    """Means of ten minutes, from first to last light of the day."""
    clear = ahead.course.light[: ahead.course.starts]
    lit = np.flatnonzero(clear > 0)
    if not len(lit):
        return []
    found = []
    for first in range(int(lit[0]) // LIGHT_EVERY_MIN * LIGHT_EVERY_MIN, int(lit[-1]) + 1, LIGHT_EVERY_MIN):
        part = slice(first, first + LIGHT_EVERY_MIN)
        shown = to_screen(float(clear[part].mean()), view.unit)
        sky = [None] * 3 if ahead.shares is None else [shown * v for v in quantiles(ahead.shares[:, part].mean(axis=1))]
        found.append(LightAheadDoc(_utc(float(ahead.course.edges_s[first])), shown, *sky))
    return found


def _caution(ahead: _Ahead, highest_deg: float, targets: list[PrintsAheadDoc]) -> str | None:
    """For the sun of now where it is up, else for that of the day's noon."""
    told = next((t for t in targets if t.now is not None or t.begun), None)
    if told is not None and told.now is not None:
        return beside_frame(told.now.sun_deg, told.now.typical_s or told.now.clear_s)
    quickest = min((b.typical_s or b.clear_s or math.inf for b in told.begun), default=math.inf) if told else math.inf
    return beside_frame(highest_deg, _finite(quickest), " at noon") if ahead.begin_s is not None else None


def _minute(course: Course, at_s: float) -> int:
    return int((at_s - course.edges_s[0]) // 60.0)


def _known(seconds: float) -> float | None:
    return round(float(seconds), 1) if math.isfinite(seconds) else None


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _utc(at_s: float) -> str:
    return iso_utc(round(at_s * US_PER_S))


def _when(at_s: float | None) -> str | None:
    return None if at_s is None else _utc(at_s)
