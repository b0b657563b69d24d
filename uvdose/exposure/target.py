"""Target: the dose that prints one combination right. Versioned; never overwritten."""

from __future__ import annotations

import msgspec

from ..dose.response import Identity, Response, differences
from ..model import Refusal
from ..units import PHYSICAL_DOSE, from_screen

MOST_CALLS = 20  # of a kind: each is reckoned with at every reading


class CallPlan(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """When to call: looks at fractions of the target, the lead in seconds, overshoots in stops."""

    looks: tuple[float, ...] = ()
    lead_s: float = 60.0
    overshoots: tuple[float, ...] = (1 / 6, 1 / 3)


class Combination(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What the target was proved with; None where it was not noted."""

    process: str | None = None
    paper: str | None = None
    coat: str | None = None
    film: str | None = None


class Target(msgspec.Struct, frozen=True):
    """One version of a target. dose: in `unit` (mJ/cm2, or such as counts.s). identity: the sensor it is bound to."""

    name: str
    version: int
    dose: float
    unit: str = PHYSICAL_DOSE
    calls: CallPlan = CallPlan()
    combination: Combination = Combination()
    identity: Identity | None = None
    reason: str = ""
    made_utc: str = ""

    @property
    def dose_base(self) -> float:
        """The dose in J/m², or in unit-seconds."""
        return from_screen(self.dose, self.unit)


def plan_with(
    plan: CallPlan, looks: tuple[float, ...] | None, lead_s: float | None, overshoots: tuple[float, ...] | None
) -> CallPlan:
    """A plan with what is given changed; None keeps. Raises `Refusal` (code 2) for calls that cannot be meant."""
    plan = CallPlan(
        plan.looks if looks is None else looks,
        plan.lead_s if lead_s is None else lead_s,
        plan.overshoots if overshoots is None else overshoots,
    )
    for what, calls in (("looks", plan.looks), ("overshoots", plan.overshoots)):
        if len(calls) > MOST_CALLS:
            raise Refusal(f"{len(calls)} {what}: give at most {MOST_CALLS}", 2)
    for look in plan.looks:
        if not 0 < look < 1:
            raise Refusal(f"look at {look:g}: give a fraction of the target between 0 and 1, such as 0.7", 2)
    if not 0 <= plan.lead_s <= 3600:
        raise Refusal(f"lead {plan.lead_s:g}: give seconds from 0 (no lead call) to 3600", 2)
    for stops in plan.overshoots:
        if not 0 < stops <= 4:
            raise Refusal(f"overshoot at {stops:g}: give stops above 0 and up to 4, such as 0.17", 2)
    return plan


def check_fit(target: Target, identity: Identity, response: Response, override: bool) -> list[str]:
    """Whether a target may be used with a sensor. Returns what differs (empty: nothing).

    Raises `Refusal` when the units cannot be compared, which nothing overrides, or when the sensor is not the one
    that the target is bound to and the person has not overridden it on purpose.
    """
    if target.unit != response.unit:
        raise Refusal(
            f"target {target.name} is in {target.unit}, but sensor {identity.name} measures {response.unit}: "
            f"set a target in {response.unit}, or give the sensor a scale"
        )
    changed = differences(target.identity, identity) if target.identity is not None else []
    if changed and not override:
        raise Refusal(
            f"target {target.name} was proved with another sensor setting ({'; '.join(changed)}): "
            "make a calibration print with this one, or start with --override to use it knowingly"
        )
    return changed
