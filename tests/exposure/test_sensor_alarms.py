"""Alarms that need to know whether a print lies in the light, and those of input that is no reading."""

from __future__ import annotations

import pytest

from uvdose.dose.response import Identity, Response
from uvdose.exposure.bench import Bench
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import LightGate, Plan
from uvdose.exposure.states import Act, State
from uvdose.exposure.target import Target
from uvdose.model import BadInput, Decoded, MomentReading

S = 1_000_000


class Bindery:
    """A sensor that says a value a second, and what was told."""

    def __init__(self) -> None:
        self.bench = Bench()
        self.bench.add_sensor(
            "s", Identity("s", "number", "W/m2", None, 0.0, None, None, "sun"), Response(1.0, 0.0, None, "mJ/cm2")
        )
        self.now_us = 100 * S
        self.told: list[tuple[int, str, str]] = []

    def see(self, out: Outcome) -> None:
        self.told += [
            (f.t_us, f.name, f.data["alarm"]) for f in out.facts if f.name in ("alarm", "cleared")
        ]

    def say(self, *items: Decoded) -> None:
        for item in items:
            self.now_us += S
            self.see(self.bench.take("s", [item], self.now_us))
            self.see(self.bench.tick(self.now_us))

    def values(self, *values: float) -> None:
        self.say(*(MomentReading(v) for v in values))

    def start(self, gate: LightGate | None = None) -> None:
        response = self.bench.channels["s"].track.response
        plan = Plan(1, Target("t", 1, 1e6), "s", "1", response, self.now_us, gate=gate)
        self.see(self.bench.start(plan, self.now_us))


@pytest.fixture
def bindery() -> Bindery:
    return Bindery()


def test_no_light_is_told_over_a_print_and_cleared_when_it_is_held(bindery: Bindery) -> None:
    bindery.values(*[40.0] * 20)
    bindery.start()
    bindery.values(*[40.0] * 20)
    dark_us = bindery.now_us
    bindery.values(*[0.0] * 30)
    ((at_us, name, alarm),) = bindery.told
    assert (name, alarm) == ("alarm", "no-light") and 5 * S <= at_us - dark_us <= 10 * S
    words = bindery.bench.channels["s"].health.active["no-light"]
    assert "sees no light at all" in words and "nothing is counted" in words and "wire off" in words
    exposure = bindery.bench.exposures[1]
    assert exposure.account.figures().dose == pytest.approx(40 * 20.5) and not exposure.account.figures().missing_s
    bindery.see(bindery.bench.act(1, Act.HOLD, bindery.now_us))
    bindery.values(0.0)
    assert [t[1:] for t in bindery.told] == [("alarm", "no-light"), ("cleared", "no-light")]


def test_no_light_is_no_fault_without_a_print(bindery: Bindery) -> None:
    bindery.values(*[40.0] * 20, *[0.0] * 30)
    assert not bindery.told
    bindery.start()
    bindery.values(0.0)
    assert [t[1:] for t in bindery.told] == [("alarm", "no-light")], "and forgotten under its cap"


def test_no_light_is_no_fault_where_the_light_itself_holds(bindery: Bindery) -> None:
    bindery.values(*[0.0] * 20)
    bindery.start(LightGate(10.0, 5.0))
    bindery.values(*[40.0] * 30, *[0.0] * 30)
    assert bindery.bench.exposures[1].state is State.HELD and not bindery.told


def test_what_is_no_number_is_told_as_that_within_seconds(bindery: Bindery) -> None:
    bindery.values(*[40.0] * 20)
    last_us = bindery.now_us
    bindery.say(*[BadInput("not a finite number", "nan")] * 9)
    at_us, name, alarm = bindery.told[0]
    assert (name, alarm) == ("alarm", "unreadable") and at_us - last_us <= 3 * S
    assert "sends no number ('nan')" in bindery.bench.channels["s"].health.active["unreadable"]
    bindery.values(40.0)
    assert ("cleared", "unreadable") in [t[1:] for t in bindery.told]


def test_a_sensor_that_never_said_a_number(bindery: Bindery) -> None:
    bindery.say(*[BadInput("not a finite number", "inf")] * 3)
    assert [t[1:] for t in bindery.told] == [("alarm", "unreadable")]


def test_other_lines_between_readings_are_no_fault_and_alone_they_are(bindery: Bindery) -> None:
    other = [BadInput("label not here", "Temp: 20")]
    for _ in range(20):
        bindery.say(*other * 4, MomentReading(40.0))
    assert not bindery.told
    bindery.say(*other * 30)
    assert "what comes cannot be read (label not here), such as 'Temp: 20'" in (
        bindery.bench.channels["s"].health.active["unreadable"]
    )
