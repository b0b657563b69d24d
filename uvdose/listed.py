"""What pages list besides the status: targets to choose from, frames, who is next, the light of an exposure.

Names and keys are a contract, as in `messages`; more may come.
"""

from __future__ import annotations

from typing import Any

import msgspec

from .messages import ExposureDoc


class TargetDoc(msgspec.Struct, frozen=True):
    """The newest version of a target. dose, low..high: in `unit`, the interval None where it was typed without.

    noted: what it was proved with, such as process and paper. sensor: the one that it is bound to.
    """

    name: str
    version: int
    dose: float
    unit: str
    noted: dict[str, str]
    sensor: str | None
    low: float | None
    high: float | None
    made_utc: str


class FrameDoc(msgspec.Struct, frozen=True):
    """A frame that has been used, with the target and the sensor of its last print."""

    frame: str
    target: str | None = None
    sensor: str | None = None


class QueueEntry(msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """A print that waits for its turn: whose it is, its target and its frame, each where it is known."""

    label: str = ""
    target: str | None = None
    frame: str | None = None


class AimDoc(msgspec.Struct, frozen=True):
    """What a print begun now would aim at, beside its target's own dose. stops: that the light of now asks for, with
    low_stops and high_stops around it (95 %); None where it is nothing, or cannot be told. way: why: the sun stands
    "lower" or "higher" than at the proof, or "elsewhere", or the frame lies "otherwise". corrects: the target's prints
    aim so."""

    target: str
    version: int
    sensor: str
    corrects: bool
    stops: float | None = None
    low_stops: float | None = None
    high_stops: float | None = None
    way: str = ""


class QueueDoc(msgspec.Struct, frozen=True):
    """Who is next at the bench, the first one first. id: of this version, to base a change on."""

    entries: tuple[QueueEntry, ...] = ()
    id: int = 0


class ListsDoc(msgspec.Struct, frozen=True):
    """All that a page chooses from. queue_id: of the queue's version, to base a change on."""

    targets: list[TargetDoc]
    frames: list[FrameDoc]
    queue: list[QueueEntry]
    queue_id: int = 0


class DayDoc(msgspec.Struct, frozen=True):
    """The review of a day, as `uvdose day --json` has it.

    exposures: those that began on it, each with the keys of ExposureDoc, what it was printed with, its light, verdict
    and events; from_before: those that began earlier and still lay in the light. waiting: those that wait for a
    person's word, with what to type. totals: sums over `exposures`. sensors: the light that each saw; its trace is the
    mean in equal stretches from trace_from_utc to trace_to_utc. targets: versions made on the day. health: how the
    sensors did. timezone: whose day it is, None for the machine's. brought_in: sensors whose readings came out of a
    file.
    """

    date: str
    timezone: str | None
    brought_in: list[str]
    waiting: list[dict[str, Any]]
    exposures: list[dict[str, Any]]
    from_before: list[dict[str, Any]]
    totals: dict[str, Any]
    sensors: list[dict[str, Any]]
    targets: list[dict[str, Any]]
    health: list[dict[str, Any]]
    trace_from_utc: str
    trace_to_utc: str


class LightDoc(msgspec.Struct, frozen=True):
    """The light of one exposure: points of (seconds since its start, irradiance in `unit`), at most 400.

    holds: stretches in which it was out of the light, the last one open to `until_s`, which is where the curve ends.
    reached_s: when its target was reached; None before. Seconds are of dose time.
    """

    unit: str
    t0_utc: str | None
    points: list[tuple[float, float]]
    holds: list[tuple[float, float]]
    until_s: float
    reached_s: float | None = None


class BenchAlarm(msgspec.Struct, frozen=True):
    """An alarm, and the sensors that have it; more: how many of them are left out. key: its short name, empty where it
    has none; line: what to do, as the first of them tells it."""

    key: str
    line: str
    sensors: list[str]
    more: int = 0


class BenchDoc(msgspec.Struct, frozen=True):
    """One bench as its broker tells it. state: here; silent, it says nothing any more; gone, it said so or its last
    will did; unheard, it is not known yet.

    online: what it said last, None for nothing. age_s: since its figures were heard, by the clock of who listens. Where
    they lay at the broker already that is not known: then it is None, and they are at_least_s old. utc: when they were
    told, by the bench's own clock, which may be wrong. exposures: those in the light or held, the newest last; more:
    how many are left out. finished: how many of today are done. sensors: how many it has. alarms: of its
    sensors. unread: messages of it that could not be read, since its figures came.
    """

    name: str
    state: str
    online: bool | None
    age_s: float | None
    at_least_s: float | None
    utc: str | None
    exposures: list[ExposureDoc]
    more: int = 0
    finished: int = 0
    sensors: int = 0
    alarms: list[BenchAlarm] = []
    troubles: list[str] = []
    unread: int = 0


class BenchesDoc(msgspec.Struct, frozen=True):
    """All benches at one broker, by name. utc: of who listens. listened_s: for how long; None while the broker does not
    answer, and trouble says why. left_out: messages of topics that are no bench's, or of more benches than are shown.
    """

    utc: str
    broker: str
    listened_s: float | None
    benches: list[BenchDoc]
    trouble: str = ""
    left_out: int = 0
