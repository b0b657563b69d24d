"""Calls: which dose calls the person, and when it will be reached at the light of now. Pure."""

from __future__ import annotations

import math

import msgspec

from ..units import US_PER_S
from .target import CallPlan

APART_US = 30 * US_PER_S  # an overshoot call never comes closer to the target call than this

LOOK, LEAD, REACHED, OVERSHOOT, REMINDER = "look", "lead", "reached", "overshoot", "reminder"
STEP, READY = "step", "ready"  # of a test strip: do it now; get your hand to the card
READY_S = 8.0

# The node's patterns, see the native line.
PATTERNS = {"count-in": 1, LOOK: 2, STEP: 2, LEAD: 3, READY: 3, REACHED: 4, OVERSHOOT: 5, REMINDER: 6, "test": 7}


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
        steps = [(i, step.share * target_base, step.words) for i, step in enumerate(plan.steps, 1)]
        self._steps = [Threshold(STEP, f"{STEP}:{i}", dose, words) for i, dose, words in steps]
        # What a reading itself can reach.
        self.aims = [*self._looks, *self._steps, Threshold(REACHED, REACHED, target_base)]
        self._rest = [Threshold(REACHED, REACHED, target_base)]
        self._rest += [Threshold(OVERSHOOT, f"overshoot:{s:g}", target_base * math.exp2(s)) for s in plan.overshoots]

    def all(self, fastest: float) -> list[Threshold]:
        """All of them. `fastest` in dose per second sets how far before its dose a lead comes."""
        found = self._looks + self._steps + self._rest
        if self._lead_s > 0:
            found.append(Threshold(LEAD, LEAD, self._base - fastest * self._lead_s))
        before = -math.inf
        for i, step in enumerate(self._steps, 1):
            dose = step.dose - fastest * READY_S
            if dose > before:  # else it would come before the step before it is done
                found.append(Threshold(READY, f"{READY}:{i}", dose, step.words))
            before = step.dose
        return found


def due_us(threshold: Threshold, light: Light, reached_us: int | None) -> int | None:
    """The dose time at which the threshold is crossed at the light of now; None when it will not be."""
    missing = threshold.dose - light.dose
    if missing <= 0:
        due = light.t_us
    elif light.rate <= 0:
        return None
    else:
        due = light.t_us + math.ceil(missing / light.rate * US_PER_S)
    if threshold.kind == OVERSHOOT:
        if reached_us is None:
            return None
        due = max(due, reached_us + APART_US)
    return due
