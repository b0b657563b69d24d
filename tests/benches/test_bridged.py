"""Two real Mosquittos joined by a bridge: what of a bench at one is seen at the other, and what must not be.

The lines of configuration are those that the README shows; their words are those of mosquitto.conf(5).
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.broker import Broker

from uvdose.config import MqttSettings
from uvdose.listed import BenchDoc
from uvdose.overlook import Overlook

from .test_at_one_broker import SETTINGS, Ear

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SHOWN = re.search(r"```\n(connection .*?)```", README, re.S)


def bridge_lines(port: int) -> str:
    """As the README shows them, with the address of the other broker here."""
    assert SHOWN is not None
    lines, count = re.subn(r"(?m)^address .*$", f"address 127.0.0.1:{port}", SHOWN[1])
    assert count == 1
    return f"{lines}restart_timeout 1\n"  # tried again after a second, else after up to half a minute


class Building:
    """upstairs has the benches, and a bridge to the hall."""

    def __init__(self, stack: ExitStack, folder: Path) -> None:
        self._stack = stack
        self._folder = folder
        self.hall = stack.enter_context(Broker())
        self.upstairs = Broker()
        with (self.upstairs.folder / "broker.conf").open("a") as config:
            config.write(bridge_lines(self.hall.port))
        stack.enter_context(self.upstairs)
        self.looks = Overlook(MqttSettings(port=self.hall.port), folder)
        stack.callback(self.looks.end)
        self.looks.now()

    def bench(self, name: str, broker: Broker, home: str = "") -> RunningBench:
        settings = SETTINGS.format(name=name, port=broker.port)
        made = self._stack.enter_context(RunningBench(self._folder / (home or name), settings, 20))
        made.wait_live("sill")
        return made

    def seen(self, name: str) -> BenchDoc | None:
        """As who looks in the hall sees it."""
        return next((b for b in self.looks.now().benches if b.name == name), None)

    def wait(self, name: str, state: str, seconds: float = 20) -> BenchDoc:
        RunningBench.wait_for(lambda: (b := self.seen(name)) is not None and b.state == state, seconds,
                              lambda: f"{name} {state}: {self.looks.now()}")  # fmt: skip
        found = self.seen(name)
        assert found is not None
        return found


@pytest.fixture
def building(tmp_path: Path) -> Iterator[Building]:
    with ExitStack() as stack:
        yield Building(stack, tmp_path)


def test_a_bench_is_seen_over_a_bridge_and_not_when_it_or_the_bridge_went(building: Building) -> None:
    bench = building.bench("bindery", building.upstairs)
    bench.target("blue", 60_000)
    bench.expose("blue", label="fern")
    shown = building.wait("bindery", "here")
    assert [e.label for e in shown.exposures] == ["fern"] and shown.online is True
    # Acts are not bridged: who may write in the hall may not act upstairs.
    ear = Ear(building.hall.port)
    building._stack.callback(ear.close)
    ear.say("uvdose/bindery/command", b'{"id": "c-1", "act": "finish", "exposure": 1}')
    time.sleep(1.0)
    assert bench.exposure(1)["state"] == "counting"
    # Each event comes once.
    bench.act(1, "hold")
    RunningBench.wait_for(lambda: len(ear.of("uvdose/bindery/event")) >= 1, 5, "the event in the hall")
    time.sleep(0.5)
    assert [json.loads(p)["event"] for p in ear.of("uvdose/bindery/event")] == ["held"]

    # The bridge is gone: the hall's broker keeps saying "online", and nobody believes it.
    building.upstairs.kill()
    assert building.wait("bindery", "silent").online is True
    building.upstairs.start()
    building.wait("bindery", "here", 40)
    # The bench is gone, the bridge is not.
    bench.kill()
    assert building.wait("bindery", "gone").online is False


def test_what_a_bridge_sends_once_more_makes_nobody_look_alive(building: Building) -> None:
    """A bridge that connects passes on what its broker had kept, and it comes as new: without the retain flag."""
    bench = building.bench("bindery", building.upstairs)
    building.wait("bindery", "here")
    bench.kill()
    building.wait("bindery", "gone")
    ear = Ear(building.hall.port)
    building._stack.callback(ear.close)
    since_s = time.monotonic()
    building.hall.kill()  # it forgets all, and the bridge brings it again
    building.hall.start()
    RunningBench.wait_for(lambda: len(ear.of("uvdose/bindery/state", since_s)) >= 1, 40, "the state, as if it were new")
    assert [json.loads(p)["bench"] for p in ear.of("uvdose/bindery/state", since_s)] == ["bindery"]
    found = building.wait("bindery", "gone", 30)
    for _ in range(12):
        time.sleep(0.5)
        found = building.seen("bindery")
        assert found is not None and found.state == "gone", found


def test_two_of_one_name_at_two_bridged_brokers_are_told(building: Building) -> None:
    building.bench("bindery", building.upstairs)
    building.wait("bindery", "here")
    second = building.bench("bindery", building.hall, "second")
    assert "another bench called bindery" in second.wait_line("ALARM", 10)
