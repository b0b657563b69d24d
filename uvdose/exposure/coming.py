"""What is still to come of an exposure: calls that are due, calls that were crossed, and when the next is. Pure."""

from __future__ import annotations

from ..dose.integrator import Track
from ..model import Segment
from ..units import US_PER_S
from .calls import LEAD, LOOK, OVERSHOOT, REACHED, READY, REMINDER, Light, Threshold, due_us, moment_of
from .exposure import MAY_BE_ENOUGH, NO_DUE, Exposure
from .record import Crossing
from .states import State


def crossed(exposure: Exposure, track: Track, now_us: int) -> list[Crossing]:
    """Calls that are due by now at the light of now, in order of time."""
    if exposure.state is State.HELD:
        remind_us = exposure.reminder_us()
        reminder = Crossing(Threshold(REMINDER, exposure.reminder_key, 0.0), remind_us, known=False)
        return [reminder] if remind_us <= now_us else []
    if exposure.state not in (State.COUNTING, State.REACHED):
        return []
    if call_due_us(exposure, track, now_us) > now_us and not exposure.may_be_enough(track, now_us):
        return []
    light = exposure.light(track, now_us)
    found: list[Crossing] = []
    for threshold in exposure.to_come(light.fastest):
        due = due_us(threshold, light, exposure.reached_us)
        if due is not None and due <= now_us:
            found.append(Crossing(threshold, due, known=False))
    if light.dose < exposure.plan.aim_base and exposure.may_be_enough(track, now_us):
        threshold = Threshold(LOOK, MAY_BE_ENOUGH, exposure.plan.aim_base)
        found.append(Crossing(threshold, now_us, known=False))
    return sorted(found, key=lambda c: c.t_us)


def crossed_in(exposure: Exposure, segment: Segment, before: float, now_after: float, track: Track) -> list[Crossing]:
    """Calls whose dose was crossed within a segment, at the interpolated time."""
    found: list[Crossing] = []
    if now_after <= before or now_after < exposure.thresholds.next_aim(exposure.passed):
        return found
    begin = max(segment.t0_us, exposure.account.windows[-1].start.t_us) if exposure.account.windows else segment.t0_us
    stop = exposure.account.windows[-1].stop if exposure.account.windows else None
    end = max(begin, segment.t1_us if stop is None else min(stop.t_us, segment.t1_us))
    fastest = exposure.plan.response.factor * exposure.net(track.history.peak)
    for threshold in exposure.to_come(fastest):
        if threshold.kind in (LEAD, READY, OVERSHOOT) or not before < threshold.dose <= now_after:
            continue
        share = (threshold.dose - before) / (now_after - before)
        found.append(Crossing(threshold, begin + int(share * (end - begin)), known=True))
    return sorted(found, key=lambda c: c.t_us)


def call_due_us(exposure: Exposure, track: Track, now_us: int) -> int:
    """When the next call will be due if the light stays; NO_DUE when none will."""
    if exposure.state is State.WAITING:
        return NO_DUE if exposure.plan.gate else exposure.plan.begin_us
    if exposure.state is State.HELD:
        return exposure.reminder_us()
    if exposure.state not in (State.COUNTING, State.REACHED):
        return NO_DUE
    # In steady light the moment does not move: it is reckoned once for each reading, act and call.
    known = (track.last, exposure.state, len(exposure.acts), exposure.passed, exposure.reached_us)
    if known != exposure.due_known:
        exposure.due_us = _reckon_due(exposure, exposure.light(track, now_us))
        exposure.due_known = (*known[:3], set(exposure.passed), exposure.reached_us)
    return exposure.due_us


def _reckon_due(exposure: Exposure, light: Light) -> int:
    if exposure.reached_us is not None:  # overshoots keep their distance from the target call
        dues = (due_us(t, light, exposure.reached_us) for t in exposure.to_come(light.fastest))
        return min((d for d in dues if d is not None), default=NO_DUE)
    due = moment_of(exposure.thresholds.next_ahead(exposure.passed, light.fastest), light)
    return NO_DUE if due is None else due


def eta_s(exposure: Exposure, track: Track, now_us: int) -> float | None:
    """Seconds to the target at the light of now; None when it is not to come."""
    if exposure.state is not State.COUNTING or REACHED in exposure.passed:
        return None
    light = exposure.light(track, now_us)
    due = due_us(Threshold(REACHED, REACHED, exposure.plan.aim_base), light, None)
    return None if due is None else max(0, due - now_us) / US_PER_S
