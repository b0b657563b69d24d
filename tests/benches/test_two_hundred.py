"""A bench with two hundred sensors at a real broker: its settings are read, it starts, and what tells of it copes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from support.bench import RunningBench
from support.broker import Broker

from uvdose.config import load_settings
from uvdose.decode.native import frame_command

COUNT = 200
ROOT = Path(__file__).parents[2]


class Hall:
    """The bench, and its nodes, which say what they are told to."""

    def __init__(self, broker: Broker, bench: RunningBench) -> None:
        self.broker = broker
        self.bench = bench
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self.client.max_inflight_messages_set(1000)
        self.client.connect("127.0.0.1", broker.port)
        self.client.loop_start()
        self.seq = 0

    def say(self) -> None:
        """A line of each, a second after the last."""
        for i in range(COUNT):
            uptime_ms = 1000 * self.seq
            body = f"uv1,{0x1000 + i:08x},{self.seq},{uptime_ms},{100 + i},{(100 + i) * uptime_ms},0,0,00"
            last = self.client.publish(f"nodes/n{i}/reading", frame_command(body), 1)
        last.wait_for_publish(20)
        self.seq += 1

    def command(self, *words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "uvdose", *words, "--home", str(self.bench.home.folder)], capture_output=True,
            text=True, timeout=60, env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def sensors(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.bench.ask("GET", "/status")["sensors"]
        return found


@pytest.fixture
def hall(tmp_path: Path) -> Iterator[Hall]:
    with Broker() as broker:
        blocks = "".join(
            f'[[sensor]]\nname = "n{i}"\nlink = "mqtt"\ntopic = "nodes/n{i}"\nscale = 0.01\nfull_scale = 100000\n'
            for i in range(COUNT)
        )
        settings = f'[bench]\nname = "hall"\n[mqtt]\nport = {broker.port}\n{blocks}'
        with RunningBench(tmp_path / "home", settings) as bench:
            assert len(load_settings(bench.home).sensor) == COUNT
            made = Hall(broker, bench)
            bench.wait_for(lambda: not any("link" in s["alarm_keys"] for s in made.sensors()), 30, "all subscribed")
            try:
                yield made
            finally:
                made.client.disconnect()
                made.client.loop_stop()


def test_two_hundred_sensors_are_counted_and_told(hall: Hall) -> None:
    for _ in range(3):
        hall.say()
    hall.bench.wait_for(lambda: all(s["readings"] == 3 for s in hall.sensors()), 30, "each line, once")
    assert {s["state"] for s in hall.sensors()} == {"live"} and sum(s["late"] for s in hall.sensors()) == 0
    hall.bench.target("blue", 60_000)
    for i in range(0, COUNT, 10):
        hall.bench.expose("blue", sensor=f"n{i}", frame=f"f{i}", override=True)
    hall.say()
    text = hall.command("status")
    assert sum(line.startswith("n") and " live " in line for line in text.splitlines()) >= COUNT - 20
    (bench,) = json.loads(hall.command("benches", "--json"))["benches"]
    assert (bench["name"], bench["state"], bench["sensors"]) == ("hall", "here", COUNT)
    assert len(bench["exposures"]) == COUNT // 10 and len(bench["alarms"]) <= 8
    day = json.loads(hall.command("day", "--json"))
    assert len(day["exposures"]) == COUNT // 10
    assert hall.bench.stop() == 0
    kept = hall.bench.store()
    for i in range(0, COUNT, 7):
        seqs = [r.seq for _, r in kept.readings(f"n{i}", 0)]
        assert seqs == sorted(set(seqs)) and seqs[:4] == [0, 1, 2, 3]
