"""Acts while a node stands in a reset that keeps boot, seq, uptime and register: each second counts once."""

from __future__ import annotations

import pytest

from uvdose.dose.response import Identity, Response
from uvdose.exposure.bench import Bench
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.model import RegisterReading

LEVEL = 100


class Node:
    """One line a second, all of light 100. `reset` lets time pass in which it counts nothing."""

    def __init__(self) -> None:
        self.bench = Bench()
        self.bench.add_sensor(
            "n", Identity("n", "native", "counts", None, 0.0, None, None, "sun"), Response(1.0, 0.0, None, "counts.s")
        )
        self.at_ms = self.up_ms = 1_000_000
        self.flags = 0

    def run(self, seconds: int, heard: bool = True) -> None:
        for _ in range(seconds):
            self.at_ms += 1000
            self.up_ms += 1000
            if heard:
                self.say()

    def say(self) -> None:
        line = RegisterReading(
            7, self.up_ms // 10, self.up_ms, LEVEL * 1000, LEVEL * self.up_ms, 0, 0, self.flags
        )
        self.bench.take("n", [line], self.at_ms * 1000)

    def wait(self, seconds: float) -> None:
        self.at_ms += round(seconds * 1000)

    def start(self) -> None:
        target = Target("t", 1, 1e9, "counts.s")
        now_us = self.at_ms * 1000
        self.bench.start(Plan(1, target, "n", "1", self.bench.channels["n"].track.response, now_us), now_us)

    def act(self, act: Act) -> None:
        self.bench.act(1, act, self.at_ms * 1000)

    def told(self) -> tuple[float, float, float]:
        """Measured, bridged, missing seconds."""
        f = self.bench.exposures[1].account.figures()
        assert f.dose + f.missing == pytest.approx(LEVEL * (f.measured_s + f.bridged_s + f.missing_s), rel=1e-9)
        return f.measured_s, f.bridged_s, f.missing_s


@pytest.mark.parametrize("acts_at_s", [0.3, 25, 49.7])
def test_finished_in_the_reset(acts_at_s: float) -> None:
    node = Node()
    node.run(20)
    node.start()
    node.run(100)
    node.wait(acts_at_s)
    node.act(Act.FINISH)
    node.wait(50 - acts_at_s)
    node.flags = 8
    node.run(100)
    assert sum(node.told()) == pytest.approx(100 + acts_at_s, abs=0.01)


@pytest.mark.parametrize("acts_at_s", [0.3, 25, 49.7, 50.5])
def test_started_in_the_reset(acts_at_s: float) -> None:
    """Whether an act late in the line's second lies behind the reset cannot be told to better than that second."""
    node = Node()
    node.run(20)
    node.wait(acts_at_s)
    node.start()
    node.wait(50 - acts_at_s)
    node.flags = 8
    node.run(100)
    assert sum(node.told()) == pytest.approx(150 - acts_at_s, abs=0.01)
    assert node.told()[0] >= 99


def test_held_and_resumed_in_the_reset() -> None:
    node = Node()
    node.run(20)
    node.start()
    node.run(100)
    node.wait(10)
    node.act(Act.HOLD)
    node.wait(20)
    node.act(Act.RESUME)
    node.wait(20)
    node.flags = 8
    node.run(50)
    node.act(Act.FINISH)
    node.run(1)
    assert node.told() == pytest.approx((150, 30, 0), abs=0.3)


def test_a_second_reset_while_the_flag_stays_set() -> None:
    """Only arrival tells it: lines that agree for seconds on a clock that has stood still."""
    node = Node()
    node.run(20)
    node.start()
    for lost_s in (30, 30, 45):
        node.run(100)
        node.wait(lost_s)
        node.flags = 8
    node.run(100)
    node.act(Act.FINISH)
    node.run(1)
    measured_s, bridged_s, missing_s = node.told()
    assert measured_s == pytest.approx(400, abs=0.3) and missing_s == 0
    assert bridged_s == pytest.approx(105, abs=0.3)


def test_lines_held_up_are_no_second_reset() -> None:
    node = Node()
    node.flags = 8
    node.run(20)
    node.start()
    node.run(100)
    node.run(50, heard=False)
    for back in range(49, -1, -1):  # they all come at once, each with its own uptime
        node.up_ms -= back * 1000
        node.say()
        node.up_ms += back * 1000
    node.run(50)
    node.act(Act.FINISH)
    node.run(1)
    assert node.told() == pytest.approx((200, 0, 0), abs=0.3)
