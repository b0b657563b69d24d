"""Setting a target by hand: the next version out of a request. Pure; with or without a daemon."""

from __future__ import annotations

import re

from ..asked import TargetRequest, Trial
from ..dose.response import Identity
from ..model import LIGHTS, ProvedLight, Refusal
from ..units import PHYSICAL_DOSE, check_dose, plain_unit
from .calls import READY_S
from .target import CallPlan, Combination, Target, plan_with

_NAME = re.compile(r"[\w][\w.+-]{0,59}")
_UNIT_SECONDS = re.compile(r"[A-Za-z]{1,12}\.s")
MAX_TEXT = 500
MAX_STEPS = 20
MOST_AIR_MASS = 10.0  # beyond it the light is too weak to print in, and no model holds


def next_version(
    request: TargetRequest, last: Target | None, sensors: list[Identity], made_utc: str, like: Target | None = None
) -> Target:
    """The target that a request makes; what it leaves out stays as in the last version, else as in `like`.

    It is bound to the sensor named, else to the one of the last version, else to the only sensor there is. The light
    of the last version's proof stays with its dose alone: a dose typed anew was proved nobody knows where.
    Raises `Refusal`.
    """
    check_name(request.name)
    unit = plain_unit(request.unit)
    if unit != PHYSICAL_DOSE and not _UNIT_SECONDS.fullmatch(unit):
        raise Refusal(f"unit {request.unit!r}: {PHYSICAL_DOSE}, or for a sensor without a scale such as counts.s", 2)
    for what in (*Combination.__struct_fields__, "reason", "basis"):
        text = getattr(request, what) or ""
        if len(text) > MAX_TEXT or not text.isprintable():
            raise Refusal(f"{what}: give at most {MAX_TEXT} printable characters", 2)
    check_dose(request.dose, unit)
    _check_interval(request)
    _check_proved(request.proved_light)
    check_light_in(request.light_in)
    before = last or like
    calls = before.calls if before else CallPlan()
    old = before.combination if before else Combination()
    p = check_p(request.p if request.p is not None else before.p if before else 1.0)
    return Target(
        name=request.name,
        version=last.version + 1 if last else 1,
        dose=request.dose,
        unit=unit,
        calls=plan_with(calls, request.looks, request.lead_s, request.overshoots),
        combination=Combination(**{
            field: getattr(request, field) or getattr(old, field) for field in Combination.__struct_fields__
        }),
        identity=_bound(request.sensor, before.identity if before else None, sensors),
        reason=request.reason or ("set by hand" if last is None else "changed by hand"),
        made_utc=made_utc,
        low=request.low,
        high=request.high,
        basis=request.basis,
        p=p,
        proved_s=request.proved_s if request.proved_s is not None else before.proved_s if before else None,
        exposure_scale=request.exposure_scale or (before.exposure_scale if before else None),
        retired=request.retired,
        proved_light=request.proved_light or (before.proved_light if before and before.dose == request.dose else None),
        light_in=request.light_in or (before.light_in if before else ""),
        correct=request.correct if request.correct is not None else before.correct if before else False,
    )


def check_name(name: str) -> str:
    """A target's name as it may be. Raises `Refusal` (code 2)."""
    if not _NAME.fullmatch(name):
        raise Refusal(f"target name {name!r}: use letters, digits, . _ + - (at most 60, no space)", 2)
    return name


def check_light_in(light_in: str) -> str:
    """One of the `LIGHTS`, or nothing. Raises `Refusal` (code 2)."""
    if light_in and light_in not in LIGHTS:
        raise Refusal(f"light {light_in!r}: one of {', '.join(LIGHTS)}", 2)
    return light_in


def check_p(p: float) -> float:
    """An exponent of reciprocity as it may be. Raises `Refusal` (code 2)."""
    if not 0.5 <= p <= 1.5:
        raise Refusal(f"reciprocity p {p:g}: give a number from 0.5 to 1.5; 1 when you do not know", 2)
    return p


def trial_target(name: str, trial: Trial) -> Target:
    """What a calibration print is exposed by: its own dose and calls, bound to nothing. Raises `Refusal`."""
    if not re.fullmatch(r"(strip|tablet) [1-9][0-9]{0,8}", name):
        raise Refusal(f"calibration print {name!r}: such as `strip 3`", 2)
    check_dose(trial.dose, trial.unit)
    shares = [step.share for step in trial.steps]
    if len(shares) > MAX_STEPS or shares != sorted(set(shares)) or not all(0 < share < 1 for share in shares):
        raise Refusal(f"steps: give at most {MAX_STEPS}, rising shares of the whole dose between 0 and 1", 2)
    if not all(len(step.words) <= MAX_TEXT and step.words.isprintable() for step in trial.steps):
        raise Refusal(f"steps: give at most {MAX_TEXT} printable characters each", 2)
    return Target(name, 0, trial.dose, trial.unit, CallPlan(lead_s=READY_S, steps=trial.steps))


def _check_interval(request: TargetRequest) -> None:
    """JSON carries no NaN; a typed interval must hold the dose."""
    low, high = request.low, request.high
    if low is None and high is None:
        return
    if low is None or high is None or not 0 < low <= request.dose <= high:
        raise Refusal(f"the interval {low} to {high} must hold the dose {request.dose:g}", 2)


def _check_proved(light: ProvedLight | None) -> None:
    """Light that no sun gives would make any correction of it."""
    if light is None:
        return
    if not 0.99 <= light.air_mass <= MOST_AIR_MASS:
        raise Refusal(f"air mass {light.air_mass:g}: give a number from 1 (sun overhead) to {MOST_AIR_MASS:g}", 2)
    compass = [a for a in (light.sun_azimuth_deg, light.azimuth_deg) if a is not None]
    if not (0 <= light.tilt_deg <= 90 and all(0 <= a <= 360 for a in compass) and len(light.utc) <= MAX_TEXT):
        raise Refusal("the light of the proof: tilt from 0 to 90 degrees, azimuths from 0 to 360", 2)


def _bound(asked: str | None, last: Identity | None, sensors: list[Identity]) -> Identity | None:
    if asked is None:
        return last if last is not None else (sensors[0] if len(sensors) == 1 else None)
    for identity in sensors:
        if identity.name == asked:
            return identity
    raise Refusal(f"no sensor {asked!r} here: one of {', '.join(i.name for i in sensors) or 'none'}")
