"""Calls: which dose calls the person, and when it will be reached at the light of now. Pure."""

from __future__ import annotations

import math

import msgspec

from ..units import US_PER_S
from .target import CallPlan

APART_US = 30 * US_PER_S  # an overshoot call never comes closer to the target call than this

LOOK, LEAD, REACHED, OVERSHOOT, REMINDER = "look", "lead", "reached", "overshoot", "reminder"
STEP, READY = "step", "ready"  # of a test strip: do it now; get your hand to the card
TEST = "test"  # of no exposure: does it sound?
READY_S = 8.0
AGE_S = 1e9  # thirty years: no print waits so long

# The node's patterns, see the native line.
PATTERNS = {"count-in": 1, LOOK: 2, STEP: 2, LEAD: 3, READY: 3, REACHED: 4, OVERSHOOT: 5, REMINDER: 6, TEST: 7}


class Threshold(msgspec.Struct, frozen=True):
    """A call that is still to come: its kind, a key that is unique within the exposure, and the dose that makes it.

    words: what to do then, where the kind does not say it.
    """

    kind: str
    key: str
    dose: float
    words: str = ""


class Light(msgspec.Struct, frozen=True):
    """The dose of an exposure as a straight line through now, for predicting.

    dose: at t_us, missing light's central estimate included. rate: per second. fastest: the fastest likely rate.
    """

    t_us: int
    dose: float
    rate: float
    fastest: float


class Thresholds:
    """Every call of an exposure. Only those that come so many seconds before a dose move, with the light."""

    def __init__(self, target_base: float, plan: CallPlan) -> None:
        self._base = target_base
        self._lead_s = plan.lead_s
        self._looks = [Threshold(LOOK, f"look:{f:g}", f * target_base) for f in plan.looks]
        self._steps = [
            Threshold(STEP, f"{STEP}:{i}", step.share * target_base, step.words) for i, step in enumerate(plan.steps, 1)
        ]
        # What a reading itself can reach, by rising dose.
        reached = Threshold(REACHED, REACHED, target_base)
        self._aims = sorted([*self._looks, *self._steps, reached], key=lambda t: t.dose)
        self._rest = [Threshold(REACHED, REACHED, target_base)]
        self._rest += [Threshold(OVERSHOOT, f"overshoot:{s:g}", target_base * math.exp2(s)) for s in plan.overshoots]

    def next_aim(self, passed: set[str]) -> float:
        """The lowest dose of a look, a step or the target that is still to come; infinity when none is."""
        for aim in self._aims:
            if aim.key not in passed:
                return aim.dose
        return math.inf

    def next_ahead(self, passed: set[str], fastest: float) -> float:
        """The lowest dose of any call before the target that is still to come, those in time before a dose included."""
        nearest = self.next_aim(passed)
        if self._lead_s > 0 and LEAD not in passed:
            nearest = min(nearest, self._base - fastest * self._lead_s)
        if self._steps:
            nearest = min([nearest, *(t.dose for t in self._readies(fastest) if t.key not in passed)])
        return nearest

    def _early(self, fastest: float) -> list[Threshold]:
        """Calls that come so many seconds before a dose."""
        lead = [Threshold(LEAD, LEAD, self._base - fastest * self._lead_s)] if self._lead_s > 0 else []
        return lead + self._readies(fastest)

    def _readies(self, fastest: float) -> list[Threshold]:
        """Of a test strip: get your hand to the card."""
        early: list[Threshold] = []
        before = -math.inf
        for i, step in enumerate(self._steps, 1):
            dose = step.dose - fastest * READY_S
            if dose > before:  # else it would come before the step before it is done
                early.append(Threshold(READY, f"{READY}:{i}", dose, step.words))
            before = step.dose
        return early

    def all(self, fastest: float) -> list[Threshold]:
        """All of them. `fastest` in dose per second sets how far before its dose a lead comes."""
        return self._looks + self._steps + self._rest + self._early(fastest)


def due_us(threshold: Threshold, light: Light, reached_us: int | None) -> int | None:
    """The dose time at which the threshold is crossed at the light of now; None when it will not be."""
    due = moment_of(threshold.dose, light)
    if threshold.kind == OVERSHOOT and due is not None:
        return None if reached_us is None else max(due, reached_us + APART_US)
    return due


def moment_of(dose: float, light: Light) -> int | None:
    """When a dose is reached in the light of now: at once where it is already; None when it will not be."""
    missing = dose - light.dose
    if missing <= 0:
        return light.t_us
    # Not in an age: also what a light that is hardly a number makes of it, which is no number any more.
    if light.rate <= 0 or missing / light.rate > AGE_S:
        return None
    return light.t_us + math.ceil(missing / light.rate * US_PER_S)
