"""How long prints will take: what `uvdose outlook` is asked, and what it gives. Names and keys are a contract, as in
`messages`.

Times that end in `_s` are seconds a print takes, None where the light goes before it is done; `low`, `typical` and
`high` are what one sky in ten, one in two, nine in ten of the last days' would keep to, None where none is known.
"""

from __future__ import annotations

import msgspec

# Common practice, no source: taking a sheet out, looking at it, laying the next one in.
BETWEEN_MIN = 5.0


class Question(msgspec.Struct, frozen=True):
    """names: of targets; none: all that fit. date: YYYY-MM-DD, None for today. every_min: between two starts that are
    told. between_min: from one print to the next. sensor: None: the one that the targets are bound to."""

    names: tuple[str, ...] = ()
    date: str | None = None
    every_min: int = 60
    queue: bool = False
    between_min: float = BETWEEN_MIN
    sensor: str | None = None


class BeginDoc(msgspec.Struct, frozen=True):
    """A print begun at one moment. sun_deg: height of the sun. clear_low_s, clear_high_s: 95 %, for a clear sky."""

    utc: str
    sun_deg: float
    clear_s: float | None
    clear_low_s: float | None
    clear_high_s: float | None
    low_s: float | None = None
    typical_s: float | None = None
    high_s: float | None = None


class FitDoc(msgspec.Struct, frozen=True):
    """How many prints, one after the other, the light lets finish: in a clear sky, in a poor one of the last days (one
    in ten was poorer), in a typical one, in a good one."""

    clear: int
    poor: int | None = None
    typical: int | None = None
    good: int | None = None


class PrintsAheadDoc(msgspec.Struct, frozen=True):
    """One target. now: begun now, None on another day and without light. last_clear_utc, last_typical_utc: the last
    moment at which one can be begun that finishes. fit: from now, or from first light, on. beside: what these times do
    not count, in words."""

    target: str
    version: int
    dose: float
    unit: str
    now: BeginDoc | None
    begun: list[BeginDoc]
    last_clear_utc: str | None
    last_typical_utc: str | None
    fit: FitDoc
    beside: list[str] = []


class WaitingDoc(msgspec.Struct, frozen=True):
    """One entry of the queue, in its turn: when it would be done."""

    label: str
    target: str
    clear_utc: str | None
    typical_utc: str | None


class QueueAheadDoc(msgspec.Struct, frozen=True):
    """The queue, one after the other. between_s: to take one out and lay the next one in."""

    waiting: list[WaitingDoc]
    between_s: float
    fit: FitDoc


class LightAheadDoc(msgspec.Struct, frozen=True):
    """The light at one moment, in `unit`: of a clear sky, and what the last days left of it."""

    utc: str
    clear: float
    low: float | None = None
    typical: float | None = None
    high: float | None = None


class OutlookDoc(msgspec.Struct, frozen=True):
    """A day ahead, at one sensor.

    sun_always: "up" or "down" on a day without rise and set. level: "measured", from the clear skies of level_days,
    or "model"; level_low, level_high: 95 % around it, 1 being its own value. days: so many past days are known;
    sky_low to sky_high: their shares of a clear sky. left_out: targets that are not told, and why.
    """

    date: str
    utc: str
    sensor: str
    unit: str
    facing: str
    sunrise_utc: str | None
    noon_utc: str
    sunset_utc: str | None
    sun_always: str | None
    highest_deg: float
    level: str
    level_days: list[str]
    level_low: float
    level_high: float
    days: int
    sky_low: float | None
    sky_typical: float | None
    sky_high: float | None
    targets: list[PrintsAheadDoc]
    queue: QueueAheadDoc | None
    light: list[LightAheadDoc]
    caution: str | None
    left_out: list[str]
