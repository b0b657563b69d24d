"""A day of printing as values: its prints, what waits, the light that fell, and how the sensors did."""

from __future__ import annotations

from typing import Any

import msgspec

from ..exposure.states import State
from ..exposure.target import Combination
from ..messages import EventDoc, ExposureDoc
from ..notes import PrintNote, Verdict
from ..stamps import iso_utc
from ..units import stops_between
from .byclock import ByClock
from .light import LightOfDay
from .recorded import Stretch

CALLS = ("look", "lead", "reached", "overshoot")
NEAR_STOPS = 1 / 6  # a print further from its target than this is to be looked at


class Share(msgspec.Struct, frozen=True):
    """What of a print belongs to one day. lit_s: seconds in the light; dose: about, in the print's unit, None where no
    reading tells it."""

    lit_s: float
    dose: float | None


class Print(msgspec.Struct, frozen=True):
    """One exposure of the day.

    document: its figures; for one that is still running, counted from the readings kept so far. stops: given dose
    above the target's, None for a void print. held_s: time out of the light between start and end, in dose time.
    events: all that it went through. alarms: of its sensor while it ran. in_light: wall labels.
    began: the local day. light_start, light_end: irradiance in light_unit as it came into the light and left it for
    good (or at its last reading), None where nothing was read then. past_dose, past_s: dose above the target, and
    seconds in the light past it, 0 where it was not reached. verdict, note: the newest. waits: it is finished and
    nobody has said how it came out; a strip or a tablet waits until it is read. share: what belongs to this day, None
    where all of it does. clock: what the day's clearest light would have made of it, None where that cannot be told.
    """

    document: ExposureDoc
    combination: Combination
    stops: float | None
    held_s: float
    overridden: tuple[str, ...]
    in_light: list[Stretch]
    events: list[EventDoc]
    alarms: list[EventDoc]
    began: str = ""
    light_unit: str = ""
    light_start: float | None = None
    light_end: float | None = None
    past_dose: float = 0.0
    past_s: float = 0.0
    verdict: Verdict | None = None
    note: PrintNote | None = None
    waits: bool = False
    share: Share | None = None
    clock: ByClock | None = None

    @property
    def is_void(self) -> bool:
        """Whether its start was taken back: it is shown as void, and is part of no sum."""
        return self.document.state == State.VOID

    @property
    def calls(self) -> list[EventDoc]:
        """The calls that stand: one that a repair took back and that came again is told as it came the last time."""
        newest = {(e.event, str(e.data.get("key"))): e for e in self.events if e.event in CALLS}
        return sorted(newest.values(), key=lambda e: e.id)

    @property
    def lit_s(self) -> float:
        """Time in the light, however it is known."""
        return self.document.measured_s + self.document.bridged_s + self.document.missing_s

    @property
    def saturated_share(self) -> float:
        """Of its measured and bridged time, 0 to 1."""
        known_s = self.document.measured_s + self.document.bridged_s
        return self.document.saturated_s / known_s if known_s > 0 else 0.0


class Waiting(msgspec.Struct, frozen=True):
    """Something that waits for a person's word. what: how one calls it; type: the command."""

    exposure: int
    what: str
    type: str


class Received(msgspec.Struct, frozen=True):
    """Dose of the day's prints in one unit."""

    dose: float
    unit: str


class Totals(msgspec.Struct, frozen=True):
    """Sums over the prints that began on the day. lit_s: measured and bridged; saturated_s: of that.

    aimed: finished ones that have a target; reached, near: those of them that reached it, that lie within 1/6 stop.
    stops_low, stops_mean, stops_high: of the finished ones, sd from two on.
    """

    begun: int = 0
    finished: int = 0
    void: int = 0
    received: list[Received] = []
    lit_s: float = 0.0
    missing_s: float = 0.0
    held_s: float = 0.0
    saturated_s: float = 0.0
    aimed: int = 0
    reached: int = 0
    near: int = 0
    stops_low: float | None = None
    stops_mean: float | None = None
    stops_high: float | None = None
    stops_sd: float | None = None


class TargetChange(msgspec.Struct, frozen=True):
    """A target's version that was made on this day. before_version: 0 where it is the first."""

    name: str
    version: int
    utc: str
    dose: float
    unit: str
    before_version: int = 0
    before_dose: float | None = None
    before_unit: str = ""
    stops: float | None = None
    basis: str = ""
    reason: str = ""
    retired: bool = False


class AlarmOfDay(msgspec.Struct, frozen=True):
    """One kind of alarm: how often it came, and how long it was on in all within the day; lasting: it still was at the
    day's end, or is."""

    alarm: str
    times: int
    seconds: float
    lasting: bool


class NoteOfDay(msgspec.Struct, frozen=True):
    """What was done to a sensor. kind: zero, check, scale, level; line: how it went; ok None: nothing to pass."""

    utc: str
    kind: str
    line: str
    ok: bool | None = None


class SensorHealth(msgspec.Struct, frozen=True):
    """How one sensor did. holes: pauses of more than 60 s, and of three usual intervals, between two readings of the
    day; saturated_s: time at full scale, with a print under it or not."""

    name: str
    alarms: list[AlarmOfDay]
    holes: int = 0
    holes_s: float = 0.0
    longest_hole_s: float = 0.0
    saturated_s: float = 0.0
    notes: list[NoteOfDay] = []

    @property
    def is_well(self) -> bool:
        """Whether there is nothing to tell."""
        return not (self.alarms or self.holes or self.saturated_s or self.notes)


class Day(msgspec.Struct, frozen=True):
    """One local day. from_us, to_us: the stretch that the traces of light span, as wall labels.

    prints: those that began on it. from_before: those that began earlier and lay in the light on it. waiting: of the
    prints above, those that wait for a word, in the order in which they were begun. zone: whose clocks the day goes by,
    empty for the machine's. brought_in: which of its sensors' readings came from a file.
    """

    date: str
    prints: list[Print]
    sensors: list[LightOfDay]
    from_us: int
    to_us: int
    zone: str = ""
    from_before: list[Print] = []
    waiting: list[Waiting] = []
    totals: Totals = Totals()
    targets: list[TargetChange] = []
    health: list[SensorHealth] = []
    brought_in: list[str] = []

    def as_json(self) -> dict[str, Any]:
        """The document of `day --json`."""
        return {
            "date": self.date,
            "timezone": self.zone or None,
            "waiting": self.waiting,
            "exposures": [_print_json(p) for p in self.prints],
            "from_before": [_print_json(p) for p in self.from_before],
            "totals": self.totals,
            "sensors": self.sensors,
            "targets": self.targets,
            "health": self.health,
            "brought_in": self.brought_in,
            "trace_from_utc": iso_utc(self.from_us),
            "trace_to_utc": iso_utc(self.to_us),
        }


def stops_of(document: ExposureDoc) -> float | None:
    """How many stops a print got above its target; None for a void one, a strip or tablet, and where none counted."""
    if document.state == State.VOID or not document.target_version:
        return None
    return stops_between(document.dose, document.target_dose)


def _print_json(p: Print) -> dict[str, Any]:
    document: dict[str, Any] = msgspec.to_builtins(p.document)
    return document | {
        "process": p.combination.process,
        "paper": p.combination.paper,
        "coat": p.combination.coat,
        "film": p.combination.film,
        "stops": p.stops,
        "held_s": p.held_s,
        "saturated_share": p.saturated_share,
        "began": p.began,
        "light_unit": p.light_unit,
        "light_start": p.light_start,
        "light_end": p.light_end,
        "past_dose": p.past_dose,
        "past_s": p.past_s,
        "verdict": p.verdict,
        "note": p.note,
        "waits": p.waits,
        "share": p.share,
        "clock": None if p.clock is None else p.clock._asdict(),
        "overridden": list(p.overridden),
        "in_light": [[iso_utc(s.start_us), iso_utc(s.stop_us)] for s in p.in_light],
        "events": [e.flat() for e in p.events],
        "alarms_seen": [e.flat() for e in p.alarms],
    }
