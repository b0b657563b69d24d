"""Telling: what the bench decided, put into an outcome as facts, calls and the ends of calls."""

from __future__ import annotations

from ..dose.health import Change
from ..dose.integrator import Track
from ..model import Fact
from ..units import US_PER_S, minutes, percent
from .calls import REACHED, REMINDER
from .channel import Channel
from .exposure import MAY_BE_ENOUGH, Exposure
from .outcome import Outcome, Ring
from .record import Crossing


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
    text = f"{_who(exposure, threshold.kind)}, {_share(exposure, dose, missing)}"
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
    return f"{_who(exposure, call.kind)}, now {_share(exposure, f.dose, f.missing)}, since {since}"


def _who(exposure: Exposure, kind: str) -> str:
    called = "still held:" if kind == REMINDER else kind
    return f"{called} {exposure.plan.target.name}, frame {exposure.plan.frame}"


def _share(exposure: Exposure, dose: float, missing: float) -> str:
    base = exposure.plan.target.dose_base
    return percent(dose / base) + (f" read and about {percent(missing / base)} missing" if missing > 0 else "")


def hush(exposure: Exposure, keys: list[str], t_us: int, out: Outcome, *, tell: bool) -> None:
    """End calls. tell: the person has acknowledged them."""
    for key in keys:
        exposure.open_calls.pop(key, None)
        out.hushes.append((exposure.id, key))
    if tell and keys:
        tell_fact(out, exposure, "quieted", t_us, {"calls": keys})
