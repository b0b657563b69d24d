"""What is asked of the daemon: the bodies of requests of commands and pages. Names and keys are a contract."""

from __future__ import annotations

from typing import Any

import msgspec

from .listed import QueueEntry
from .messages import Part, StepCall
from .model import ProvedLight


class When(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A moment in the past: so many seconds ago, or at a local time of day (HH:MM:SS) or ISO 8601 time; none: now."""

    ago_s: float | None = None
    at: str | None = None


class MoveRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Say when the newest start, hold, resume or finish of an exposure really happened."""

    act: str
    when: When


class ShadeRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A stretch in which the sensor did not see the print's light. Until None: up to now."""

    since: When
    until: When = When()


class Trial(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A calibration print's exposure, which has no target yet: a dose to call at, and calls on the way."""

    dose: float
    unit: str
    steps: tuple[StepCall, ...] = ()


class StartRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Begin an exposure. count_in_s: beeps until the cover comes off; override: use a target knowingly.

    when: it began earlier. by_light: it begins when the light comes up and holds when it falls; light_on: at how much,
    in the sensor's unit of irradiance. version: of the target, else the newest. part: of what it is a part; trial: a
    calibration print, `target` then names it and no target of that name is looked up. queued: the entry of the queue
    that begins with it, as it stands there; it leaves the queue. correct: aim for the same effect in the light of now,
    or not; None: as the target says. light_in: one of `LIGHTS`, where the person says it.
    """

    target: str
    sensor: str | None = None
    frame: str | None = None
    label: str = ""
    count_in_s: int = 0
    override: bool = False
    looks: tuple[float, ...] | None = None
    lead_s: float | None = None
    overshoots: tuple[float, ...] | None = None
    when: When = When()
    by_light: bool = False
    light_on: float | None = None
    version: int | None = None
    part: Part | None = None
    trial: Trial | None = None
    queued: QueueEntry | None = None
    correct: bool | None = None
    light_in: str = ""


class TargetRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Set a target: a new version if the name is there already. None keeps what the last version had.

    low, high: 95 % of what the dose may be. basis: what it rests on, such as `tablet 2`. p: reciprocity exponent;
    proved_s: how long the calibration print lay in the light. retired: it is not used any more. like: begin with
    all that another target has noted. proved_light: the sun's light in which it was proved; left out, the last
    version's stays where the dose does. correct: prints aim for the same effect in the light of now. light_in: one of
    `LIGHTS`; empty: as before.
    """

    name: str
    dose: float
    unit: str = "mJ/cm2"
    sensor: str | None = None
    process: str | None = None
    paper: str | None = None
    coat: str | None = None
    film: str | None = None
    humidity: str | None = None
    drying: str | None = None
    coating_age: str | None = None
    notes: str | None = None
    looks: tuple[float, ...] | None = None
    lead_s: float | None = None
    overshoots: tuple[float, ...] | None = None
    reason: str = ""
    low: float | None = None
    high: float | None = None
    basis: str = ""
    p: float | None = None
    proved_s: float | None = None
    exposure_scale: float | None = None
    retired: bool = False
    like: str | None = None
    proved_light: ProvedLight | None = None
    correct: bool | None = None
    light_in: str = ""


class NoteRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Something that the person says and that is no act: of a kind, about a subject. The newest of a subject holds.

    subject None: a new calibration print, which gets the next number; of any other kind it is refused. based_on: the id
    of the version that this one changes, 0 where there was none; where there is a newer one meanwhile it is refused.
    None: it holds in any case.
    """

    kind: str
    data: dict[str, Any]
    subject: str | None = None
    based_on: int | None = None


class CallTestRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Try the ways by which calls reach the person. way: this one alone."""

    way: str | None = None
