"""The documents that commands, API and MQTT give out. Names and keys are a contract: they stay; more may come.

Dose is in `unit` (mJ/cm2, or such as counts.s), irradiance in the unit that belongs to it, times of `_s` keys in
seconds of dose time, `_utc` ISO 8601 with Z and milliseconds.
"""

from __future__ import annotations

from typing import Any

import msgspec


class Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What an exposure is a part of. kind: strip, tablet or edition; name: its number or its name.

    sheet, layer: of an edition, from 1.
    """

    kind: str
    name: str
    sheet: int = 0
    layer: int = 0


class StepCall(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A call within an exposure: at this share of its dose, do this: `cover step 2`.

    key, step: the same for those who say it in other words: cover or uncover, and the step's number on the sheet.
    """

    share: float
    words: str
    key: str = ""
    step: int | None = None


class ExposureDoc(msgspec.Struct, frozen=True):
    """One exposure. dose_low..dose_high: 95 %, relative to the target's scale. fraction: dose / target_dose.

    missing_dose: central estimate of light that fell unmeasured, not in dose. eta_s: the median of the time left;
    None when not to come, or not known because the sensor is silent. eta_low_s..eta_high_s: its range, 80 %, rounded
    by its own width; None where it is not forecast, and at an end that may never come. not_today: the sun sets before,
    most likely, or as good as surely if eta_low_s is None.
    parts: what the interval is made of, each as its own 95 % half-width. low_stops, high_stops: the interval's ends
    against the dose. reciprocity_stops: how much more it would have needed by the target's exponent p, 0 for p 1.
    noted: what the target was proved with. steps: of a test strip. card_moves: how often its card was told as moved.
    begins_in_s: to the beat of a count-in, real time; by_light: it begins and holds by the light. last_act: the one
    that an undo takes back. unanswered: calls that nobody has answered yet, the newest last, though a buzzer may have
    told them; calls: those still to be told, and the target's. armed: the sensor's node has taken the register at
    which it calls by itself. target_dose: what it aims at; target_dose_raw: the target's own dose, which the aim lies
    correction_stops above, because this sensor reads the light of now otherwise against the paper.
    """

    id: int
    target: str
    target_version: int
    sensor: str
    frame: str
    state: str
    unit: str
    target_dose: float
    dose: float
    dose_low: float
    dose_high: float
    fraction: float
    measured_s: float
    bridged_s: float
    missing_s: float
    saturated_s: float
    missing_dose: float
    started_utc: str | None
    reached_utc: str | None
    finished_utc: str | None
    eta_s: float | None
    alarms: list[str]
    calls: list[str]
    settled: bool
    label: str = ""
    part: Part | None = None
    parts: dict[str, float] = {}
    low_stops: float | None = None
    high_stops: float | None = None
    reciprocity_stops: float = 0.0
    noted: dict[str, str] = {}
    steps: tuple[StepCall, ...] = ()
    card_moves: int = 0
    begins_in_s: float | None = None
    by_light: bool = False
    last_act: str | None = None
    unanswered: list[str] = []
    armed: bool = False
    eta_low_s: float | None = None
    eta_high_s: float | None = None
    not_today: bool = False
    target_dose_raw: float | None = None  # None in documents kept by a version before, which corrected nothing
    correction_stops: float = 0.0

    @property
    def dose_as_proved(self) -> float:
        """The dose that has the same effect on the paper in the light in which the target was proved."""
        return self.dose * 2**-self.correction_stops

    @property
    def title(self) -> str:
        """The target and its version; a calibration print has its name alone."""
        return f"{self.target} v{self.target_version}" if self.target_version else self.target


class SensorDoc(msgspec.Struct, frozen=True):
    """One sensor now. irradiance is in this sensor's band; None while nothing was heard. age_s: of its last reading.

    alarm_keys: a short name for each line of alarms. unarmed: why its node will not call by itself, where a print waits
    for that; empty where it will, or where there is none.
    """

    name: str
    state: str
    irradiance: float | None
    unit: str
    age_s: float | None
    alarms: list[str]
    readings: int
    bad_inputs: int
    late: int
    last_bad: str = ""
    alarm_keys: list[str] = []
    unarmed: str = ""


class StatusDoc(msgspec.Struct, frozen=True):
    """`status`: every sensor, and the exposures that are not finished or are of today."""

    bench: str
    utc: str
    sensors: list[SensorDoc]
    exposures: list[ExposureDoc]
    troubles: list[str] = []


class EventDoc(msgspec.Struct, frozen=True):
    """One thing that happened. id rises by one from event to event."""

    id: int
    utc: str
    event: str
    exposure: int | None
    sensor: str | None
    data: dict[str, Any] = {}

    def flat(self) -> dict[str, Any]:
        """As one flat JSON object, the way `events --json` prints it."""
        own = {"id": self.id, "utc": self.utc, "event": self.event, "exposure": self.exposure, "sensor": self.sensor}
        return own | {k: v for k, v in self.data.items() if k not in own}


class TargetTaken(msgspec.Struct, frozen=True):
    """A target was taken, as this version."""

    name: str
    version: int
    dose: float
    unit: str
    recorded: bool


class SettingsTaken(msgspec.Struct, frozen=True):
    """The settings were read anew. taken: what holds from now on, a line each; later: keys that wait for a start."""

    taken: list[str]
    later: list[str]
    recorded: bool = True


class NoteTaken(msgspec.Struct, frozen=True):
    """A note was taken; subject: the number it got, where it named none. id: of this version of it."""

    subject: str
    recorded: bool
    id: int = 0


class HelloDoc(msgspec.Struct, frozen=True):
    """Whose daemon this is: the id of its home's journal."""

    home: str


class Refused(msgspec.Struct, frozen=True):
    """A request that is refused: one line for the person, and the exit code of a command that asked for it."""

    refused: str
    code: int = 4


class WayDoc(msgspec.Struct, frozen=True):
    """How a way was found. sensor: whose buzzer. worked: None where it is not set up. line: what was seen, or what is
    wrong and what to do."""

    way: str
    sensor: str | None
    worked: bool | None
    line: str


class CallTestDoc(msgspec.Struct, frozen=True):
    """worked: at least one way is set up, and all that are have worked."""

    worked: bool
    ways: list[WayDoc]


class TakenBack(msgspec.Struct, frozen=True):
    """What an undo took back: start, hold, resume, finish, again, or void (then the print counts again)."""

    act: str
    utc: str


class SeemsDoc(msgspec.Struct, frozen=True):
    """Where a print seems to lie, against what is said of it; a guess. light_in: open, shade or window. share: its
    light over that of a clear sky."""

    light_in: str
    share: float
    words: str


class Taken(msgspec.Struct, frozen=True):
    """An act was taken. recorded: it is on disk; else it is kept in memory and `note` says why.

    told: what is worth knowing of a start, and was no reason to refuse it. light: how the light of now differs from
    that in which the target was proved, and whether the aim follows it; empty where that is nothing. seems: at a
    start, where the frame seems to lie otherwise than is said.
    """

    exposure: ExposureDoc | None
    recorded: bool = True
    note: str = ""
    taken_back: TakenBack | None = None
    told: list[str] = []
    light: str = ""
    seems: SeemsDoc | None = None


class RecountDoc(msgspec.Struct, frozen=True):
    """A dose counted again from the raw readings, beside what was kept. same: equal bit for bit."""

    id: int
    unit: str
    same: bool
    dose: float
    dose_low: float
    dose_high: float
    measured_s: float
    bridged_s: float
    missing_s: float
    kept_dose: float
    readings: int
    note: str = ""
