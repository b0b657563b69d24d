"""Target: the dose that prints one combination right. Versioned; never overwritten."""

from __future__ import annotations

import math

import msgspec

from ..dose.response import Identity, Response, differences, drifted
from ..messages import StepCall
from ..model import LIGHTS, ProvedLight, Refusal
from ..units import PHYSICAL_DOSE, from_screen

SUN = "sun"
MOST_CALLS = 20  # of a kind: each is reckoned with at every reading


class CallPlan(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """When to call: looks at fractions of the target, the lead in seconds, overshoots in stops.

    steps: of a test strip, at shares of its dose, with what is to be done then.
    """

    looks: tuple[float, ...] = ()
    lead_s: float = 60.0
    overshoots: tuple[float, ...] = (1 / 6, 1 / 3)
    steps: tuple[StepCall, ...] = ()


class Combination(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What the target was proved with; None where it was not noted."""

    process: str | None = None
    paper: str | None = None
    coat: str | None = None
    film: str | None = None
    humidity: str | None = None
    drying: str | None = None
    coating_age: str | None = None
    notes: str | None = None

    @property
    def noted(self) -> dict[str, str]:
        """What was noted, by its name."""
        return {field: text for field in self.__struct_fields__ if (text := getattr(self, field))}


class Target(msgspec.Struct, frozen=True):
    """One version of a target. dose: in `unit` (mJ/cm2, or such as counts.s). identity: the sensor it is bound to.

    low, high: 95 % of what the right dose may be, None where it was typed without. basis: what it rests on: `strip 3`,
    `tablet 2`, `verdicts of 12, 14`; empty: set by hand. p: exponent of reciprocity (E t^p); proved_s: how long the
    calibration print lay in the light. exposure_scale: log10 range of the paper, which a negative's density range
    should match. version 0: no target, but a calibration print's own dose. proved_light: the sun's light in which it
    was proved, None where that is not known; correct: prints aim for the same effect in the light of now, unless a
    start says otherwise. light_in: one of `LIGHTS`, empty where nobody said it.
    """

    name: str
    version: int
    dose: float
    unit: str = PHYSICAL_DOSE
    calls: CallPlan = CallPlan()
    combination: Combination = Combination()
    identity: Identity | None = None
    reason: str = ""
    made_utc: str = ""
    low: float | None = None
    high: float | None = None
    basis: str = ""
    p: float = 1.0
    proved_s: float | None = None
    exposure_scale: float | None = None
    retired: bool = False
    proved_light: ProvedLight | None = None
    correct: bool = False
    light_in: str = ""

    @property
    def title(self) -> str:
        """Name and version; the name alone for a calibration print."""
        return f"{self.name} v{self.version}" if self.version else self.name

    @property
    def dose_base(self) -> float:
        """The dose in J/m², or in unit-seconds."""
        return from_screen(self.dose, self.unit)


def reciprocity_stops(target: Target, lit_s: float) -> float:
    """How many stops more a print that lies in the light for so long needs, by its exponent p, than the calibration
    print did: under E t^p the dose E t must grow as t^(1-p). Zero for p 1 and where the calibration's time is unknown.
    """
    if target.p == 1 or not target.proved_s or lit_s <= 0:
        return 0.0
    return (1 - target.p) * math.log2(lit_s / target.proved_s)


def plan_with(
    plan: CallPlan, looks: tuple[float, ...] | None, lead_s: float | None, overshoots: tuple[float, ...] | None
) -> CallPlan:
    """A plan with what is given changed; None keeps. Raises `Refusal` (code 2) for calls that cannot be meant."""
    plan = CallPlan(
        plan.looks if looks is None else looks,
        plan.lead_s if lead_s is None else lead_s,
        plan.overshoots if overshoots is None else overshoots,
        plan.steps,
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


def told_of(target: Target, identity: Identity) -> list[str]:
    """What has changed in the sensor since the target was proved that does no harm."""
    return drifted(target.identity, identity) if target.identity is not None else []


def void_for(target: Target, sensors: list[Identity]) -> list[str]:
    """Why a target may not be used with the sensor that it is bound to, as that is set up now; empty: it may."""
    if target.identity is None or target.retired or not sensors:
        return []
    now = next((s for s in sensors if s.name == target.identity.name), None)
    return differences(target.identity, now) if now is not None else [f"no sensor {target.identity.name} is set up"]


def other_light_unsaid(target: Target, light_in: str) -> str:
    """What is to be said where a target's sun was told and not where it lay, and a print lies out of the sun; empty
    where there is nothing. An air mass is of the sun's own light: that it lay in it is likely, and not certain, so
    that nothing is refused for it."""
    if target.light_in or target.proved_light is None or light_in in ("", "open"):
        return ""
    return f"proved in the sun as far as is known, printed in {LIGHTS[light_in]}"


def check_fit(target: Target, identity: Identity, response: Response, override: bool, light_in: str = "") -> list[str]:
    """Whether a target may be used with a sensor, in this of the `LIGHTS` (empty: not said). Returns what differs;
    empty: nothing does.

    Raises `Refusal` when the units cannot be compared, when sun and lamp are taken for each other, or when the target
    is retired, all of which nothing overrides; and when the sensor is not the one that the target is bound to and the
    person has not overridden it on purpose; the same for the light, where it was said.
    """
    if target.retired:
        raise Refusal(
            f"target {target.name} is retired ({target.reason}): `uvdose target set {target.name} --dose …` takes it"
            " into use again"
        )
    if target.unit != response.unit:
        raise Refusal(
            f"target {target.name} is in {target.unit}, but sensor {identity.name} measures {response.unit}: "
            f"set a target in {response.unit}, or give the sensor a scale"
        )
    proved = target.identity
    if proved is not None and SUN in (proved.light, identity.light) and proved.light != identity.light:
        raise Refusal(
            f"target {target.name} was proved under {proved.light}, and sensor {identity.name} stands under"
            f" {identity.light}: a dose never carries over from one to the other; make a calibration print there"
        )
    changed = differences(proved, identity) if proved is not None else []
    if changed and not override:
        raise Refusal(
            f"target {target.name} was proved with another sensor setting ({'; '.join(changed)}): "
            "make a calibration print with this one; or, if you know that its doses compare,"
            f" `uvdose target confirm {target.name}`, or --override for this print alone"
        )
    if target.light_in and light_in and light_in != target.light_in:
        other = f"proved in {LIGHTS[target.light_in]}, printed in {LIGHTS[light_in]}"
        if not override:
            raise Refusal(
                f"target {target.name}: {other}, where sensor and paper do not agree as they did: make a"
                " calibration print there; or, knowingly, --override for this print alone"
            )
        changed = [*changed, other]
    elif (odd := other_light_unsaid(target, light_in)):
        changed = [*changed, odd]
    return changed
