"""Setting a target by hand: the next version out of a request. Pure; with or without a daemon."""

from __future__ import annotations

import re

from ..dose.response import Identity
from ..messages import TargetRequest
from ..model import Refusal
from ..units import PHYSICAL_DOSE, check_dose, plain_unit
from .target import CallPlan, Combination, Target, plan_with

_NAME = re.compile(r"[\w][\w.+-]{0,59}")
_UNIT_SECONDS = re.compile(r"[A-Za-z]{1,12}\.s")
MAX_TEXT = 500


def next_version(request: TargetRequest, last: Target | None, sensors: list[Identity], made_utc: str) -> Target:
    """The target that a request makes; what it leaves out stays as in the last version.

    It is bound to the sensor named, else to the one of the last version, else to the only sensor there is.
    Raises `Refusal`.
    """
    if not _NAME.fullmatch(request.name):
        raise Refusal(f"target name {request.name!r}: use letters, digits, . _ + - (at most 60, no space)", 2)
    unit = plain_unit(request.unit)
    if unit != PHYSICAL_DOSE and not _UNIT_SECONDS.fullmatch(unit):
        raise Refusal(f"unit {request.unit!r}: {PHYSICAL_DOSE}, or for a sensor without a scale such as counts.s", 2)
    for what in ("process", "paper", "coat", "film", "reason"):
        text = getattr(request, what) or ""
        if len(text) > MAX_TEXT or not text.isprintable():
            raise Refusal(f"{what}: give at most {MAX_TEXT} printable characters", 2)
    check_dose(request.dose, unit)
    calls = last.calls if last else CallPlan()
    old = last.combination if last else Combination()
    return Target(
        name=request.name,
        version=last.version + 1 if last else 1,
        dose=request.dose,
        unit=unit,
        calls=plan_with(calls, request.looks, request.lead_s, request.overshoots),
        combination=Combination(
            process=request.process or old.process,
            paper=request.paper or old.paper,
            coat=request.coat or old.coat,
            film=request.film or old.film,
        ),
        identity=_bound(request.sensor, last.identity if last else None, sensors),
        reason=request.reason or ("set by hand" if last is None else "changed by hand"),
        made_utc=made_utc,
    )


def _bound(asked: str | None, last: Identity | None, sensors: list[Identity]) -> Identity | None:
    if asked is None:
        return last if last is not None else (sensors[0] if len(sensors) == 1 else None)
    for identity in sensors:
        if identity.name == asked:
            return identity
    raise Refusal(f"no sensor {asked!r} in the settings: one of {', '.join(i.name for i in sensors) or 'none'}")
