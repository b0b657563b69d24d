"""A sensor that says too little for the print in its light: at least fifty readings are wanted (see `pauses`)."""

from __future__ import annotations

import pytest

from uvdose.dose.response import Identity, Response
from uvdose.exposure.bench import Bench
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.model import Chosen, Decoded, MomentReading, RegisterReading

S = 1_000_000


class Slow:
    """A sensor of 40 W/m² that is heard each `every_s`, and a print in its light; the alarms that were told."""

    def __init__(self, every_s: float) -> None:
        self.bench = Bench()
        self.bench.add_sensor(
            "s", Identity("s", "number", "W/m2", None, 0.0, None, None, "sun"), Response(1.0, 0.0, None, "mJ/cm2")
        )
        self.every_s = every_s
        self.now_us = 100 * S
        self.told: list[tuple[str, str]] = []
        self.lines: list[str] = []

    def see(self, out: Outcome) -> None:
        for fact in out.facts:
            if fact.name in ("alarm", "cleared"):
                self.told.append((fact.name, fact.data["alarm"]))  # type: ignore[arg-type]
                self.lines += [str(fact.data["line"])] if fact.name == "alarm" else []

    def hear(self, count: int, item: Decoded | None = None) -> None:
        for _ in range(count):
            self.now_us += int(self.every_s * S)
            self.see(self.bench.take("s", [item or MomentReading(40.0)], self.now_us))
            self.see(self.bench.tick(self.now_us))

    def start(self, dose_j_m2: float) -> None:
        response = self.bench.channels["s"].track.response
        target = Target("blue", 1, dose_j_m2 / 10)
        self.see(self.bench.start(Plan(1, target, "s", "1", response, self.now_us), self.now_us))


@pytest.mark.parametrize(("every_s", "told"), [(7.9, False), (8.1, True), (30.0, True)])
def test_an_interval_above_a_fiftieth_of_the_target_is_told_with_what_would_do(every_s: float, told: bool) -> None:
    slow = Slow(every_s)
    slow.hear(5)
    slow.start(40.0 * 400)  # 400 s at the light of now: a reading each 8 s
    slow.hear(3)
    assert slow.told == ([("alarm", "slow")] if told else [])
    if told:
        assert "is slow for blue, which takes 6:40" in slow.lines[0] and "at least every 8 s" in slow.lines[0]
    assert slow.bench.exposures[1].state == "counting", "it does not keep anybody from printing"


def test_it_is_told_once_a_print_and_cleared_with_it_or_when_the_sensor_speeds_up() -> None:
    slow = Slow(30.0)
    slow.hear(5)
    slow.start(40.0 * 400)
    for light in (40.0, 10.0, 0.1, 40.0, 0.0, 40.0):  # clouds make the print longer, and tell nothing new
        slow.hear(1, MomentReading(light))
    assert slow.told == [("alarm", "slow")]
    slow.every_s = 2.0
    slow.hear(9)
    assert slow.told == [("alarm", "slow"), ("cleared", "slow")]
    slow.every_s = 30.0
    slow.hear(9)
    slow.see(slow.bench.act(1, Act.HOLD, slow.now_us))
    slow.hear(1)
    assert slow.told[2:] == [("alarm", "slow"), ("cleared", "slow")]


def test_without_a_print_no_interval_is_slow_and_nor_is_a_node_that_counts_by_itself() -> None:
    slow = Slow(60.0)
    slow.hear(9)
    assert not slow.told
    node = Slow(30.0)
    lines = [RegisterReading(1, i, i * 30_000, 40_000, 40 * 30_000 * i, 0, 0, 0) for i in range(1, 20)]
    for line in lines[:5]:
        node.hear(1, line)
    node.start(40.0 * 400)
    for line in lines[5:]:
        node.hear(1, line)
    assert not [t for t in node.told if t[1] == "slow"]


def test_a_short_target_is_told_in_tenths() -> None:
    slow = Slow(1.0)
    slow.hear(5)
    slow.start(40.0 * 22)
    slow.hear(2)
    assert slow.told == [("alarm", "slow")] and "at least every 0.4 s" in slow.lines[0]


def test_what_a_decoder_chose_is_told_for_as_long_as_it_does() -> None:
    slow = Slow(1.0)
    slow.hear(1, Chosen("auto reads 'uv', one of 2 numbers"))
    slow.hear(3)
    assert slow.told == [("alarm", "chosen")] and slow.lines == ["auto reads 'uv', one of 2 numbers"]
    slow.hear(1, Chosen(""))
    assert slow.told[1:] == [("cleared", "chosen")]
