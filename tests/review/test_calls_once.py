"""A call that came again after a repair is told once, as it came the last time. The light is invented, and steady."""

from __future__ import annotations

import msgspec

from uvdose.exposure.states import Act
from uvdose.review.gather import gather
from uvdose.review.text import render

from .conftest import BLUE, Bindery
from .test_settled_day import mender


def test_a_call_that_came_twice_is_told_once(bindery: Bindery) -> None:
    """A hold that was said too early takes the overshoot call back; taken back itself, the call comes again."""
    bindery.light(5, 400)
    number = bindery.start(msgspec.structs.replace(BLUE, dose=200.0), "sill", "north")
    bindery.light(85, 400)
    repairs = mender(bindery)
    before_us = bindery.clock.dose_us() - 40_000_000
    bindery.settle(repairs.act_in_the_past(number, Act.HOLD, before_us, bindery.clock.dose_us()))
    bindery.light(3, 400)
    bindery.settle(repairs.undo(number, bindery.clock.dose_us()))
    bindery.light(20, 400)
    [shown] = gather(bindery.store, "2026-06-21").prints
    came = [e for e in shown.events if e.event == "overshoot"]
    told = [e for e in shown.calls if e.event == "overshoot"]
    assert len(came) > len({str(e.data["key"]) for e in came}) == len(told)
    assert {e.id for e in told} == {max(e.id for e in came if e.data["key"] == one.data["key"]) for one in told}
    assert render(gather(bindery.store, "2026-06-21")).count("overshoot +0.25") == 1
