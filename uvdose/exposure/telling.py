"""Telling: what the bench decided, put into an outcome as facts, calls and the ends of calls."""

from __future__ import annotations

from ..dose.health import Change
from ..model import Fact
from .calls import REACHED
from .channel import Channel
from .exposure import MAY_BE_ENOUGH, Exposure
from .outcome import Outcome, Ring
from .record import Crossing
from .states import Act

FACT_OF_ACT = {
    Act.LIGHT: "started", Act.HOLD: "held", Act.RESUME: "resumed", Act.FINISH: "finished", Act.AGAIN: "resumed",
    Act.VOID: "voided",
}


def tell_fact(out: Outcome, exposure: Exposure, name: str, t_us: int, data: dict[str, object]) -> None:
    """Something happened to an exposure."""
    out.facts.append(Fact(t_us, name, exposure.id, exposure.plan.sensor, dict(data)))


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
    target = exposure.plan.target
    text = f"{threshold.kind} {target.name}, frame {exposure.plan.frame}, {dose / target.dose_base:.0%}"
    if missing > 0:
        text += f" read and about {missing / target.dose_base:.0%} missing"
    if threshold.key == MAY_BE_ENOUGH:
        text += ": it may be enough"
    out.rings.append(Ring(
        exposure.id, threshold.key, threshold.kind, exposure.plan.sensor, crossing.t_us,
        threshold.kind == REACHED, text,
    ))


def hush(exposure: Exposure, keys: list[str], t_us: int, out: Outcome, *, tell: bool) -> None:
    """End calls. tell: the person has acknowledged them."""
    for key in keys:
        exposure.open_calls.pop(key, None)
        out.hushes.append((exposure.id, key))
    if tell and keys:
        tell_fact(out, exposure, "quieted", t_us, {"calls": keys})
