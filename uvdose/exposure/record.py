"""What is written down of an exposure: its plan, its acts, and the calls that were crossed."""

from __future__ import annotations

import math

import msgspec

from ..dose.response import Response
from ..messages import Part
from ..model import Mark, MomentSegment
from .calls import Threshold
from .states import Act
from .target import Target

SETTLE_S = 3.0


class ActRecord(msgspec.Struct):
    """An act as the journal keeps it: what, when, and where it cuts the light.

    refined: known better since. moved: the person has said when it really happened. withdrawn: taken back; it is as
    if it had never been. by_light: taken by rising or falling light, not by the person. closed: at an end after which
    no reading came in time, the missing light that stands for what fell; void once the act is moved.
    """

    number: int
    act: Act
    t_us: int
    mark: Mark
    refined: Mark | None = None
    moved: Mark | None = None
    withdrawn: bool = False
    by_light: bool = False
    closed: MomentSegment | None = None

    @property
    def when_us(self) -> int:
        """When it happened, as far as is known."""
        return self.moved.t_us if self.moved is not None else self.t_us

    @property
    def cut(self) -> Mark:
        """The best mark known."""
        return self.moved or self.refined or self.mark


class LightGate(msgspec.Struct, frozen=True):
    """on, off: W/m² (or the sensor's unit without a scale). settle_s: how long a change must last, dose time."""

    on: float
    off: float
    settle_s: float = SETTLE_S


class Plan(msgspec.Struct, frozen=True):
    """What was settled when an exposure began; it never changes. pace: of the clock that counts it.

    aim: what the target's dose is multiplied by, since the sensor reads the light of now otherwise against the paper
    than that in which the target was proved; 1 where nothing is corrected. The account knows nothing of it. light_in:
    one of `LIGHTS`, empty where nobody said it.
    """

    id: int
    target: Target
    sensor: str
    frame: str
    response: Response
    begin_us: int
    pace: float = 1.0
    label: str = ""
    overridden: tuple[str, ...] = ()
    gate: LightGate | None = None
    part: Part | None = None
    aim: float = 1.0
    light_in: str = ""

    @property
    def aim_dose(self) -> float:
        """The dose to stop at, as the sensor tells it, in the target's unit."""
        return self.target.dose * self.aim

    @property
    def aim_base(self) -> float:
        """The same in J/m², or in unit-seconds: every call and every share goes by this."""
        return self.target.dose_base * self.aim

    @property
    def correction_stops(self) -> float:
        """How far the aim lies above the target's dose."""
        return math.log2(self.aim)


class Crossing(msgspec.Struct, frozen=True):
    """A threshold was crossed at a dose time. known: by readings; else predicted from the light of now."""

    threshold: Threshold
    t_us: int
    known: bool
