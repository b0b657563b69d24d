"""Acts over MQTT, on a real broker: off unless they are switched on, each id once, nothing that was retained."""

from __future__ import annotations

import asyncio
import json
import queue
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.alone import alone
from support.bench import RunningBench
from support.broker import Broker
from support.site import SENSOR

from uvdose.call.orders import MAX_COMMAND, MOST_WAITING, Orders

COMMAND, ANSWER = "uvdose/bindery/command", "uvdose/bindery/answer"


class Peer:
    """Whoever sends commands."""

    def __init__(self, broker: Broker, *topics: str) -> None:
        self.heard: queue.Queue[tuple[str, Any]] = queue.Queue()
        self.client = paho.Client(CallbackAPIVersion.VERSION2)
        self.client.on_message = lambda c, u, m: self.heard.put((m.topic, json.loads(m.payload)))
        self.client.connect("127.0.0.1", broker.port)
        granted: queue.Queue[bool] = queue.Queue()
        self.client.on_subscribe = lambda *rest: granted.put(True)
        self.client.loop_start()
        for topic in (ANSWER, *topics):
            self.client.subscribe(topic, qos=1)
            granted.get(timeout=5)

    def say(self, command: object, retain: bool = False) -> None:
        data = command if isinstance(command, bytes) else json.dumps(command).encode()
        self.client.publish(COMMAND, data, qos=1, retain=retain).wait_for_publish(5)

    def answer(self) -> dict[str, Any]:
        """The next answer, those to `until_answered` left out: some of them may come late."""
        while True:
            told: dict[str, Any] = self.heard.get(timeout=10)[1]
            if not str(told["id"]).startswith("there "):
                return told

    def ask(self, **command: object) -> dict[str, Any]:
        self.say(command)
        return self.answer()


@pytest.fixture
def peer(broker: Broker) -> Iterator[Peer]:
    made = Peer(broker)
    yield made
    made.client.disconnect()
    made.client.loop_stop()


def bench(home: Path, broker: Broker, commands: str = "commands = true\n") -> RunningBench:
    return RunningBench(home, f"{SENSOR}\n[mqtt]\nport = {broker.port}\n{commands}", pace=20)


def ready(running: RunningBench) -> None:
    """Its sensor is live, and the broker has its state, so that it has subscribed what it wants."""
    end = time.monotonic() + 15
    while not any(s["state"] == "live" for s in running.ask("GET", "/status")["sensors"]):
        assert time.monotonic() < end
        time.sleep(0.05)


def until_answered(peer: Peer) -> dict[str, Any]:
    """The first answer; the daemon may still be on its way to the broker."""
    for k in range(50):
        peer.say({"id": f"there {k}", "act": "hold", "exposure": 77})
        try:
            told: dict[str, Any] = peer.heard.get(timeout=0.3)[1]
            return told
        except queue.Empty:
            continue
    raise AssertionError("no answer")


def test_commands_are_taken_once_each(home: Path, broker: Broker, peer: Peer) -> None:
    with bench(home, broker) as running:
        ready(running)
        running.target("blue", 60000)
        assert "no exposure" in until_answered(peer)["refused"]
        begun = peer.ask(id="a1", act="start", start={"target": "blue", "label": "over mqtt"})
        number = begun["exposure"]["id"]
        assert begun["id"] == "a1" and begun["exposure"]["label"] == "over mqtt"
        held = peer.ask(id="a2", act="hold", exposure=number)
        assert held["exposure"]["state"] == "held" and held["recorded"] is True
        assert peer.ask(id="a3", act="resume", exposure=number)["exposure"]["state"] == "counting"
        for _ in range(3):
            assert peer.ask(id="a2", act="hold", exposure=number) == held, "told again, not done again"
        assert peer.ask(id="a4", act="undo", exposure=number)["taken_back"]["act"] == "resume"
        assert peer.ask(id="a4", act="undo", exposure=number)["exposure"]["state"] == "held"
        assert "no call is on" in peer.ask(id="a5", act="quiet")["refused"]
        assert peer.ask(id="a6", act="finish", exposure=number)["exposure"]["state"] in ("settling", "finished")
        assert [d["state"] for d in running.ask("GET", "/status")["exposures"]] in (["finished"], ["settling"])
    with bench(home, broker) as running:
        ready(running)
        until_answered(peer)
        again = peer.ask(id="a4", act="undo", exposure=number)
        assert "taken already" in again["refused"], "also after a restart"
        assert [d["state"] for d in running.ask("GET", "/status")["exposures"]] == ["finished"]


def test_a_retained_command_is_not_taken(home: Path, broker: Broker, peer: Peer) -> None:
    with bench(home, broker) as running:
        ready(running)
        running.target("blue", 60000)
        until_answered(peer)
    old = {"id": "old", "act": "start", "start": {"target": "blue"}}
    peer.say(old, retain=True)
    with bench(home, broker) as running:
        ready(running)
        until_answered(peer)
        assert running.ask("GET", "/status")["exposures"] == []
        assert peer.ask(**old)["exposure"]["state"] == "counting", "said anew it is one"


def test_what_is_no_command_is_told_and_does_nothing(home: Path, broker: Broker, peer: Peer) -> None:
    with bench(home, broker) as running:
        ready(running)
        running.target("blue", 60000)
        until_answered(peer)
        for said in (b"", b"hold 1", b"\xff\xfe", b"[]", b'{"act": "hold", "exposure": 1}',
                     b'{"id": "", "act": "quiet"}',
                     b'{"id": "x", "act": "format"}', b'{"id": "y", "act": "hold", "exposure": "1"}',
                     b'{"id": "z", "act": "hold", "exposure": 1, "more": 1}', b"{" * 3000, b"x" * 5000,
                     b'{"id": "\\u001b", "act": "quiet"}', b'{"id": "v", "act": "start"}',
                     b'{"id": "w", "act": "hold"}'):  # fmt: skip
            peer.say(said)
            told = peer.answer()
            assert told["code"] in (2, 4) and "Traceback" not in told["refused"], (said, told)
        assert running.ask("GET", "/status")["exposures"] == []


def test_commands_are_off_unless_they_are_switched_on(home: Path, broker: Broker, peer: Peer) -> None:
    with bench(home, broker, commands="") as running:
        ready(running)
        running.target("blue", 60000)
        state = Peer(broker, "uvdose/bindery/state")
        state.heard.get(timeout=10)  # it is at the broker
        for k in range(3):
            peer.say({"id": f"x{k}", "act": "start", "start": {"target": "blue"}})
        state.heard.get(timeout=10)
        state.heard.get(timeout=10)
        assert running.ask("GET", "/status")["exposures"] == [] and peer.heard.empty()
        state.client.disconnect()
        state.client.loop_stop()


class NoActs:
    """A bench at which every act fails the test."""

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(name)


def told_by(*payloads: bytes) -> tuple[list[dict[str, Any]], list[str], int]:
    """The answers, what the daemon says of its own faults, and the bytes that waited at most."""
    answers: list[dict[str, Any]] = []
    said: list[str] = []

    async def run() -> int:
        orders = Orders(
            "bindery", NoActs(), lambda topic, data, retain: answers.append(json.loads(data)), [], lambda ids: None,
            said.append,
        )  # fmt: skip
        for payload in payloads:
            orders.hear(payload, False)
        await asyncio.sleep(0)
        held = sum(map(len, orders._waiting._queue))  # type: ignore[attr-defined]
        worker = asyncio.create_task(orders.work())
        while len(answers) < len(payloads):
            await asyncio.sleep(0)
        worker.cancel()
        return held

    return answers, said, alone(run)


@pytest.mark.parametrize("number", [-1, 10**10, 2**63, 2**70])
def test_what_is_no_number_of_an_exposure_is_refused_without_a_fault(number: int) -> None:
    answers, said, _ = told_by(json.dumps({"id": "a", "act": "hold", "exposure": number}).encode())
    assert answers == [{"id": "a", "refused": "exposure: give its number, such as 12", "code": 2}] and said == []


def test_huge_commands_do_not_gather_in_the_memory() -> None:
    answers, _, held = told_by(*[b"x" * 1_000_000] * (MOST_WAITING + 3))
    assert held <= MOST_WAITING * (MAX_COMMAND + 1)
    assert sum("longer than" in a["refused"] for a in answers) == MOST_WAITING
    assert sum("too many" in a["refused"] for a in answers) == 3
