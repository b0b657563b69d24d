"""Calls: which dose calls the person, and when it will be reached at the light of now. Pure."""

from __future__ import annotations

import math

import msgspec

from ..units import US_PER_S
from .target import CallPlan

APART_US = 30 * US_PER_S  # an overshoot call never comes closer to the target call than this

LOOK, LEAD, REACHED, OVERSHOOT, REMINDER = "look", "lead", "reached", "overshoot", "reminder"

# The node's patterns, see the native line.
PATTERNS = {"count-in": 1, LOOK: 2, LEAD: 3, REACHED: 4, OVERSHOOT: 5, REMINDER: 6, "test": 7}


class Threshold(msgspec.Struct, frozen=True):
    """A call that is still to come: its kind, a key that is unique within the exposure, and the dose that makes it."""

    kind: str
    key: str
    dose: float


class Light(msgspec.Struct, frozen=True):
    """The dose of an exposure as a straight line through now, for predicting.

    dose: at t_us, missing light's central estimate included. rate: per second. fastest: the fastest likely rate.
    """

    t_us: int
    dose: float
    rate: float
    fastest: float


class Thresholds:
    """Every call of an exposure. Only the lead moves, with the light."""

    def __init__(self, target_base: float, plan: CallPlan) -> None:
        self._base = target_base
        self._lead_s = plan.lead_s
        self._looks = [Threshold(LOOK, f"look:{f:g}", f * target_base) for f in plan.looks]
        # What a reading itself can reach, by rising dose.
        self._aims = sorted([*self._looks, Threshold(REACHED, REACHED, target_base)], key=lambda t: t.dose)
        self._rest = [Threshold(REACHED, REACHED, target_base)]
        self._rest += [Threshold(OVERSHOOT, f"overshoot:{s:g}", target_base * math.exp2(s)) for s in plan.overshoots]

    def next_aim(self, passed: set[str]) -> float:
        """The lowest dose of a look or the target that is still to come; infinity when none is."""
        for aim in self._aims:
            if aim.key not in passed:
                return aim.dose
        return math.inf

    def lead_dose(self, fastest: float) -> float:
        """The dose that makes the lead call; infinity when there is to be none."""
        return self._base - fastest * self._lead_s if self._lead_s > 0 else math.inf

    def all(self, fastest: float) -> list[Threshold]:
        """All of them, by rising dose of its kind. `fastest` in dose per second sets the lead."""
        if self._lead_s <= 0:
            return self._looks + self._rest
        return [*self._looks, Threshold(LEAD, LEAD, self._base - fastest * self._lead_s), *self._rest]


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
    if light.rate <= 0 or missing == math.inf:
        return None
    return light.t_us + math.ceil(missing / light.rate * US_PER_S)
