"""Telling: what the bench decided, put into an outcome as facts, calls and the ends of calls."""

from __future__ import annotations

from ..dose.account import Figures
from ..dose.health import Change
from ..dose.integrator import Track
from ..model import Fact
from ..units import US_PER_S, minutes, percent, to_screen
from .calls import LOOK, OVERSHOOT, REACHED, READY, REMINDER, STEP
from .channel import Channel
from .exposure import MAY_BE_ENOUGH, Exposure
from .outcome import Outcome, Ring
from .record import Crossing
from .states import Act, State

FACT_OF_ACT = {
    Act.LIGHT: "started", Act.HOLD: "held", Act.RESUME: "resumed", Act.FINISH: "finished", Act.AGAIN: "resumed",
    Act.VOID: "voided", Act.CARD: "card",
}


def tell_fact(out: Outcome, exposure: Exposure, name: str, t_us: int, data: dict[str, object]) -> None:
    """Something happened to an exposure."""
    out.facts.append(Fact(t_us, name, exposure.id, exposure.plan.sensor, dict(data)))


def tell_act(out: Outcome, exposure: Exposure, act: Act, t_us: int, dose: float, by_light: bool) -> None:
    """An act was taken, at this dose (base unit)."""
    name = "voided" if exposure.state is State.VOID else FACT_OF_ACT[act]
    unit = exposure.plan.response.unit
    by = {"by": "light"} if by_light else {}
    tell_fact(out, exposure, name, t_us, {"dose": to_screen(dose, unit), "unit": unit} | by)


def tell_crossing(out: Outcome, exposure: Exposure, crossing: Crossing, f: Figures) -> float:
    """A threshold was crossed; returns the dose (base unit) to call it with.

    Where light is missing the dose that was read lies below the one that calls, and both are told.
    """
    threshold = crossing.threshold
    exact = threshold.kind in (LOOK, STEP, REACHED, OVERSHOOT) and threshold.key != MAY_BE_ENOUGH
    dose = min(threshold.dose, f.dose) if exact and f.missing > 0 else threshold.dose if exact else f.dose
    unit = exposure.plan.response.unit
    missing = {"missing_dose": to_screen(f.missing, unit)} if f.missing > 0 else {}
    tell_fact(out, exposure, threshold.kind, crossing.t_us, {
        "key": threshold.key, "dose": to_screen(dose, unit), "unit": unit,
        "dose_s": crossing.t_us / US_PER_S, "predicted": not crossing.known,
    } | missing | ({"words": threshold.words} if threshold.words else {}))
    return dose


def tell_holes(out: Outcome, exposure: Exposure, before_s: tuple[float, float], t_us: int) -> None:
    """Seconds bridged or missing have grown since `before_s`."""
    for kind, then_s, now_s in zip(("bridged", "missing"), before_s, exposure.account.hole_s, strict=True):
        if now_s > then_s:
            tell_fact(out, exposure, "gap", t_us, {"kind": kind, "seconds": now_s - then_s})


def tell_changes(channel: Channel, changes: list[Change], t_us: int, out: Outcome) -> None:
    """Alarms of a sensor came or went."""
    for change in changes:
        data = {"alarm": change.alarm, "line": change.line} if change.raised else {"alarm": change.alarm}
        out.facts.append(Fact(t_us, "alarm" if change.raised else "cleared", None, channel.name, data))


def ring(exposure: Exposure, crossing: Crossing, dose: float, missing: float, out: Outcome) -> None:
    """Call the person; a call that was only told (a look, a lead) gives way to the new one."""
    threshold = crossing.threshold
    for key in [k for k, kind in exposure.open_calls.items() if kind != REACHED]:
        exposure.open_calls.pop(key)
        out.hushes.append((exposure.id, key))
    exposure.open_calls[threshold.key] = threshold.kind
    text = f"{_who(exposure, threshold.kind, threshold.key)}, {_share(exposure, dose, missing)}"
    if threshold.key == MAY_BE_ENOUGH:
        text += ": it may be enough"
    out.rings.append(Ring(
        exposure.id, threshold.key, threshold.kind, exposure.plan.sensor, crossing.t_us,
        threshold.kind == REACHED, text,
    ))


def told_again(exposure: Exposure, call: Ring, track: Track, now_us: int) -> str:
    """A call that is told once more: how far the print is now, and how long ago it was called for."""
    f = exposure.figures(track, now_us)
    since = minutes((now_us - call.t_us) / US_PER_S)
    return f"{_who(exposure, call.kind, call.key)}, now {_share(exposure, f.dose, f.missing)}, since {since}"


def _who(exposure: Exposure, kind: str, key: str) -> str:
    called = "still held:" if kind == REMINDER else kind
    if kind in (STEP, READY):
        words = exposure.plan.target.calls.steps[int(key.partition(":")[2]) - 1].words
        called = f"{words} now:" if kind == STEP else f"in a moment {words}:"
    return f"{called} {exposure.plan.target.name}, frame {exposure.plan.frame}"


def _share(exposure: Exposure, dose: float, missing: float) -> str:
    base = exposure.plan.aim_base
    return percent(dose / base) + (f" read and about {percent(missing / base)} missing" if missing > 0 else "")


def hush(exposure: Exposure, keys: list[str], t_us: int, out: Outcome, *, tell: bool) -> None:
    """End calls. tell: the person has acknowledged them."""
    for key in keys:
        exposure.open_calls.pop(key, None)
        out.hushes.append((exposure.id, key))
    if tell and keys:
        tell_fact(out, exposure, "quieted", t_us, {"calls": keys})
