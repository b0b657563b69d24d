"""An exposure as the document that commands, API and journal share. Pure."""

from __future__ import annotations

from ..dose.integrator import Track
from ..messages import ExposureDoc
from ..model import Left
from ..units import US_PER_S, rounded_span, stops_between, to_screen
from .coming import eta_s
from .exposure import Exposure
from .states import UNHEARD, Act, State, act_word
from .target import reciprocity_stops


def label_fact(labels: dict[str, str], name: str, utc: str) -> None:
    """Label an exposure with a fact's time: the first start and the first time at the target stand; a print that goes
    out again is finished anew."""
    if name in ("started", "reached"):
        labels.setdefault(name, utc)
    elif name == "finished":
        labels[name] = utc
    elif name == "resumed":
        labels.pop("finished", None)


def document(
    exposure: Exposure, track: Track, now_us: int, alarms: list[str], left: Left | None = None
) -> ExposureDoc:
    """The exposure at a moment; every figure in the unit of the screen. left: as forecast; else the light of now."""
    plan = exposure.plan
    unit = plan.response.unit
    f = exposure.figures(track, now_us)
    dose = to_screen(f.dose, unit)
    aim = plan.aim_dose
    running = exposure.finished_us is None
    last = exposure.last_act
    counts_in = exposure.state is State.WAITING and plan.gate is None
    if UNHEARD & set(alarms):
        left = Left(None)
    elif left is None:
        left = Left(eta_s(exposure, track, now_us))
    low_s, high_s = rounded_span(left.low_s, left.high_s)
    return ExposureDoc(
        id=plan.id,
        target=plan.target.name,
        target_version=plan.target.version,
        sensor=plan.sensor,
        frame=plan.frame,
        state=str(exposure.state),
        unit=unit,
        target_dose=aim,
        target_dose_raw=plan.target.dose,
        correction_stops=plan.correction_stops,
        dose=dose,
        dose_low=to_screen(f.low, unit),
        dose_high=to_screen(f.high, unit),
        fraction=dose / aim,
        measured_s=f.measured_s,
        bridged_s=f.bridged_s,
        missing_s=f.missing_s,
        saturated_s=f.saturated_s,
        missing_dose=to_screen(f.missing, unit),
        started_utc=exposure.labels.get("started"),
        reached_utc=exposure.labels.get("reached"),
        finished_utc=exposure.labels.get("finished"),
        eta_s=left.median_s,
        eta_low_s=low_s,
        eta_high_s=high_s,
        not_today=left.not_today,
        alarms=alarms if running else [],
        calls=sorted(exposure.open_calls),
        settled=exposure.settled,
        parts={name: to_screen(half, unit) for name, half in f.parts.items()},
        low_stops=stops_between(f.low, f.dose),
        high_stops=stops_between(f.high, f.dose),
        label=plan.label,
        part=plan.part,
        reciprocity_stops=reciprocity_stops(plan.target, f.measured_s + f.bridged_s + f.missing_s),
        noted=plan.target.combination.noted,
        steps=plan.target.calls.steps,
        card_moves=len([a for a in exposure.acts if a.act is Act.CARD and not a.withdrawn]),
        begins_in_s=max(0, plan.begin_us - now_us) / US_PER_S / plan.pace if counts_in else None,
        by_light=plan.gate is not None,
        last_act=act_word(last.act) if last is not None else None,
    )
