"""Several real daemons, each with its own home, at one real Mosquitto: names, last wills, what the broker keeps."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from support.bench import RunningBench
from support.broker import Broker

SETTINGS = """
[bench]
name = "{name}"
[[sensor]]
name = "sill"
link = "simulated"
profile = "clear"
scale = 0.0125
full_scale = 1023
[mqtt]
port = {port}
commands = true
"""
TAKEN_UP_S = 5.0


class Ear:
    """Hears all that is said under `uvdose/`, and can say things itself."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[float, str, bytes, bool]] = []
        ready = threading.Event()
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self.client.on_message = lambda c, u, m: self.heard.append((time.monotonic(), m.topic, m.payload, m.retain))
        self.client.on_subscribe = lambda *rest: ready.set()
        self.client.on_connect = lambda client, *rest: client.subscribe("uvdose/#", 1)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        assert ready.wait(5)

    def say(self, topic: str, payload: bytes, retain: bool = False) -> None:
        self.client.publish(topic, payload, 1, retain).wait_for_publish(10)

    def of(self, topic: str, since_s: float = 0.0) -> list[bytes]:
        return [p for at, t, p, kept in list(self.heard) if t == topic and at >= since_s and not kept]

    def wait(self, topic: str, payload: bytes, seconds: float = TAKEN_UP_S) -> None:
        RunningBench.wait_for(lambda: payload in self.of(topic)[-1:], seconds, lambda: f"{topic} {self.of(topic)[-3:]}")

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


class Room:
    """A broker, and benches that are begun one after the other."""

    def __init__(self, stack: contextlib.ExitStack, folder: Path) -> None:
        self._stack = stack
        self.folder = folder
        self.broker = stack.enter_context(Broker())
        self.ear = Ear(self.broker.port)
        stack.callback(self.ear.close)

    def bench(self, name: str, home: str = "", pace: float = 20) -> RunningBench:
        made = RunningBench(self.folder / (home or name), SETTINGS.format(name=name, port=self.broker.port), pace)
        self._stack.enter_context(made)
        made.wait_live("sill")
        return made

    def told(self, *words: object, code: int = 0) -> Any:
        """`uvdose benches --json`."""
        done = self.command("benches", "--json", "--broker", f"127.0.0.1:{self.broker.port}", *words)
        assert done.returncode == code, done.stderr
        return json.loads(done.stdout)

    def command(self, *words: object) -> subprocess.CompletedProcess[str]:
        env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
        argv = [sys.executable, "-m", "uvdose", *map(str, words), "--home", str(self.folder / "nobody")]
        return subprocess.run(argv, capture_output=True, text=True, timeout=60, env=env)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    with contextlib.ExitStack() as stack:
        yield Room(stack, tmp_path)


def states(told: Any) -> dict[str, str]:
    return {b["name"]: b["state"] for b in told["benches"]}


def test_three_benches_say_what_is_theirs_and_one_that_went_does_not_look_alive(room: Room) -> None:
    benches = {name: room.bench(name) for name in ("bindery", "porch", "roof")}
    for number, (name, bench) in enumerate(benches.items(), 1):
        bench.target("blue", 60_000)
        for frame in range(number):
            bench.expose("blue", frame=str(frame), label=f"{name} {frame}")
    for name in benches:
        room.ear.wait(f"uvdose/{name}/online", b"1")
    told = room.told()
    assert states(told) == dict.fromkeys(benches, "here") and all(b["online"] for b in told["benches"])
    for number, bench in enumerate(told["benches"], 1):
        assert [e["label"] for e in bench["exposures"]] == [f"{bench['name']} {f}" for f in range(number)]
        assert bench["age_s"] < 5
        # What is shown is what the bench itself says, its dose a moment earlier.
        own = benches[bench["name"]].ask("GET", "/status")["exposures"]
        for shown, mine in zip(bench["exposures"], own, strict=True):
            assert shown.keys() == mine.keys() and 0 < shown["dose"] <= mine["dose"]
    # Each event is told under the name of its bench, once.
    begun = {name: [json.loads(p) for p in room.ear.of(f"uvdose/{name}/event")] for name in benches}
    assert {n: sum(e["event"] == "started" for e in es) for n, es in begun.items()} == {
        "bindery": 1, "porch": 2, "roof": 3}  # fmt: skip

    benches["porch"].kill()
    room.ear.wait("uvdose/porch/online", b"0")
    told = room.told()
    assert states(told) == {"bindery": "here", "porch": "gone", "roof": "here"}
    porch = told["benches"][1]
    assert porch["online"] is False and porch["age_s"] is None and porch["at_least_s"] > 0
    assert [e["label"] for e in porch["exposures"]] == ["porch 0", "porch 1"]  # they may lie in the light still
    assert benches["roof"].stop() == 0
    room.ear.wait("uvdose/roof/online", b"0")

    # What a bench left behind is taken away when it is asked for, and only then.
    refused = room.command("benches", "--forget", "bindery", "--broker", f"127.0.0.1:{room.broker.port}")
    assert refused.returncode == 4 and "is here" in refused.stderr and len(refused.stderr.splitlines()) == 1
    room.told("--seconds", 3)
    done = room.command("benches", "--forget", "porch", "--broker", f"127.0.0.1:{room.broker.port}")
    assert done.returncode == 0
    assert states(room.told()) == {"bindery": "here", "roof": "gone"}
    benches["porch"].start()
    room.ear.wait("uvdose/porch/online", b"1")
    assert states(room.told())["porch"] == "here"


def test_the_second_of_a_name_is_told_so_and_nothing_is_mixed(room: Room) -> None:
    first = room.bench("bindery")
    first.target("blue", 60_000)
    first.expose("blue", label="first")
    room.ear.wait("uvdose/bindery/online", b"1")
    told = {"started", "armed"}
    RunningBench.wait_for(
        lambda: told <= {json.loads(p)["event"] for p in room.ear.of("uvdose/bindery/event")}, 10, "its start is told"
    )
    begin_s = time.monotonic()
    second = room.bench("bindery", "copy")
    line = second.wait_line("ALARM", TAKEN_UP_S)
    assert "another bench called bindery" in line and "another name under [bench]" in line
    second.target("gum", 60_000)
    second.expose("gum", label="second")
    room.ear.say("uvdose/bindery/command", b'{"id": "c-1", "act": "hold", "exposure": 1}')
    RunningBench.wait_for(lambda: first.exposure(1)["state"] == "held", 5, "the first obeys")
    time.sleep(2.5)
    assert second.exposure(1)["state"] == "counting", "the second takes no command that is meant for the first"
    said = [json.loads(p) for p in room.ear.of("uvdose/bindery/state", begin_s)]
    assert said and {e["label"] for s in said for e in s["exposures"]} == {"first"}
    events = [json.loads(p) for p in room.ear.of("uvdose/bindery/event", begin_s)]
    assert {e["event"] for e in events} == {"held"}
    assert len(room.ear.of("uvdose/bindery/answer")) == 1
    assert room.ear.of("uvdose/bindery/online", begin_s) == [], "nobody is thrown out, and nobody comes back"
    (trouble,) = second.ask("GET", "/status")["troubles"]
    assert trouble in line
    assert first.ask("GET", "/status")["troubles"] == []
    alarms = [e for e in second.events() if e["event"] == "alarm" and e["alarm"] == "mqtt"]
    assert len(alarms) == 1

    # It goes in order, and then without a word: the first is here all the same.
    assert second.stop() == 0
    time.sleep(0.5)
    assert room.ear.of("uvdose/bindery/online", begin_s) == []
    second.start()
    second.wait_line("ALARM", TAKEN_UP_S)
    second.kill()
    RunningBench.wait_for(lambda: len(room.ear.of("uvdose/bindery/online", begin_s)) > 1, 10, "an answer of the first")
    assert room.ear.of("uvdose/bindery/online", begin_s) == [b"0", b"1"]  # its last will, and what the first says to it
    assert states(room.told()) == {"bindery": "here"}


def test_a_copied_home_is_another_bench_too(room: Room) -> None:
    """The likely way to two of one name: somebody copied the folder, and with it the journal and its id."""
    first = room.bench("bindery")
    assert first.stop() == 0
    shutil.copytree(room.folder / "bindery", room.folder / "copy")
    first.start()
    first.wait_live("sill")
    room.ear.wait("uvdose/bindery/online", b"1")
    assert "another bench" in room.bench("bindery", "copy").wait_line("ALARM", TAKEN_UP_S)


def test_a_bench_begun_again_is_the_same_and_what_waited_goes_out(room: Room) -> None:
    bench = room.bench("bindery")
    room.ear.wait("uvdose/bindery/online", b"1")
    for end in (signal.SIGKILL, signal.SIGTERM):
        assert bench.process is not None
        bench.process.send_signal(end)
        bench.process.wait(15)
        room.ear.wait("uvdose/bindery/online", b"0")
        bench.start()
        bench.target("blue", 60_000)
        bench.wait_live("sill")
        number = bench.expose("blue", frame=str(end))  # perhaps before the name is its own
        room.ear.wait("uvdose/bindery/online", b"1")
        begun = lambda: [json.loads(p)["exposure"] for p in room.ear.of("uvdose/bindery/event")]  # noqa: E731
        RunningBench.wait_for(lambda: number in begun(), 5, "the start is told")  # noqa: B023
        assert "ALARM another bench" not in "\n".join(bench.said)


def test_whatever_lies_at_the_broker_hurts_nobody_who_looks(room: Room) -> None:
    bench = room.bench("bindery")
    bench.target("blue", 60_000)
    bench.expose("blue")
    room.ear.wait("uvdose/bindery/online", b"1")
    bench.ask("GET", "/benches")
    for topic, payload in {
        "uvdose/rubbish/state": b"{", "uvdose/rubbish/online": b"?", "uvdose/deep/state": b"[" * 50_000,
        "uvdose/script/state": b'"<script>"', "uvdose/bindery/here": b'{"run": 7}',
        "uvdose/huge/state": b"x" * 9_000_000, "uvdose/large/state": b" " * 900_000, "uvdose/no name/state": b"{}",
    }.items():
        room.ear.say(topic, payload, retain=True)
    told = room.told()
    found = {b["name"]: b for b in told["benches"]}
    assert found["bindery"]["state"] == "here" and found["bindery"]["unread"] == 0
    assert {n: b["state"] for n, b in found.items() if n != "bindery"} == dict.fromkeys(
        ("deep", "large", "rubbish", "script"), "silent")  # fmt: skip
    # The broker keeps from us what is longer than we asked for (MQTT 5, 3.1.2.11.4): of `huge` nothing has come.
    assert "huge" not in found and told["left_out"] == 1
    assert bench.ask("GET", "/benches")["benches"][0]["name"] == "bindery"
    assert bench.exposure(1)["state"] == "counting" and bench.ask("GET", "/status")["troubles"] == []
    room.ear.say("uvdose/bindery/online", b"0", retain=True)  # whoever said that: it is here, and says so
    room.ear.wait("uvdose/bindery/online", b"1")


def test_the_broker_goes_and_comes_and_the_name_stays_with_whom_it_was(room: Room) -> None:
    first = room.bench("bindery")
    room.ear.wait("uvdose/bindery/online", b"1")
    second = room.bench("bindery", "copy")
    second.wait_line("ALARM", TAKEN_UP_S)
    room.broker.kill()
    time.sleep(1.0)
    room.broker.start()
    ear = Ear(room.broker.port)
    try:
        RunningBench.wait_for(lambda: len(ear.of("uvdose/bindery/here")) >= 5, 20, "they are back")
        claims = [json.loads(p) for p in ear.of("uvdose/bindery/here")]
        assert len({c["run"] for c in claims if c["held_s"] is not None}) == 1
        assert [line for line in first.said if "another bench" in line] == []
        assert len([line for line in second.said if "another bench" in line]) == 1
    finally:
        ear.close()


def test_without_a_broker_or_a_bench_one_line_says_so(room: Room, tmp_path: Path) -> None:
    assert room.command("benches", "--seconds", 3, "--broker", f"127.0.0.1:{room.broker.port}").returncode == 0
    port = room.broker.port
    room.broker.stop()
    done = room.command("benches", "--broker", f"127.0.0.1:{port}")
    assert done.returncode == 4 and "nothing answers" in done.stderr and len(done.stderr.splitlines()) == 1
    none = room.command("benches")
    assert none.returncode == 4 and len(none.stderr.splitlines()) == 1
    for wrong in (("--seconds", "0"), ("--seconds", "nan"), ("--broker", "a b")):
        assert room.command("benches", *wrong).returncode == 2
