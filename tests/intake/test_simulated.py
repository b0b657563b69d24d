"""The simulated bench over its real pty, and the invented light."""

from __future__ import annotations

import time
from itertools import pairwise

import pytest
from support.sink import Gathered

from uvdose.clock import FixedClock
from uvdose.config import MqttSettings, SensorSettings, Settings
from uvdose.decode.native import NativeDecoder, frame_command
from uvdose.intake import make_links
from uvdose.intake.simulated import LIGHTS, SimulatedLink, cloud
from uvdose.model import Answer, Refusal, RegisterReading


def test_it_lives_at_the_clocks_pace_and_obeys(host_clock, gathered: Gathered) -> None:
    bench = SimulatedLink(SensorSettings("sim", "simulated", profile="clear"), host_clock(60.0))
    bench.start(gathered)
    gathered.wait_state(True)
    assert bench.send(frame_command("who"))
    time.sleep(1.5)
    assert bench.send(frame_command("buzz 4 5"))
    assert gathered.wait_for(lambda: Answer("ok buzz") in NativeDecoder().feed(gathered.data))
    bench.stop()
    assert not bench.send(frame_command("who"))
    items = NativeDecoder().feed(gathered.data)
    got = [r for r in items if isinstance(r, RegisterReading)]
    assert any(isinstance(a, Answer) and a.text.startswith("ok who ") for a in items)
    assert 60_000 < got[-1].uptime_ms - got[0].uptime_ms < 300_000
    assert all(395_000 <= r.level_milli <= 405_000 for r in got)
    assert all(r.register == bench.node.total(r.uptime_ms) for r in got[-3:])
    assert [b.pattern for b in bench.node.buzzes] == [4]
    # Chunks are stamped with the paced clock: each line's arrival lies a little after its uptime, never before.
    assert gathered.chunks[-1].arrival_us >= got[-1].uptime_ms * 1000


def test_the_invented_sky() -> None:
    levels = [cloud(t / 2) for t in range(2 * 1200)]
    assert levels == [cloud(t / 2) for t in range(2 * 1200)]
    assert 400 * 0.24 < min(levels) < 400 * 0.35 and 396 < max(levels) < 405
    dim = [level < 390 for level in levels]
    spells = "".join("x" if d else " " for d in dim).split()
    assert len(spells) == 10 and all(15 < len(s) / 2 <= 60 for s in spells)
    assert max(abs(a - b) for a, b in pairwise(levels)) < 120
    assert LIGHTS["dark"](5) == 0


def test_each_link_is_made(tmp_path) -> None:
    sensors = [
        SensorSettings("a", "serial", port="/dev/x"), SensorSettings("b", "mqtt", topic="uv/b"),
        SensorSettings("c", "recording", file="c.txt"), SensorSettings("d", "simulated"),
    ]  # fmt: skip
    links, hub = make_links(Settings(sensor=sensors, mqtt=MqttSettings()), FixedClock(), tmp_path)
    assert list(links) == ["a", "b", "c", "d"] and hub is not None
    assert make_links(Settings(sensor=sensors[2:]), FixedClock())[1] is None
    with pytest.raises(Refusal):
        make_links(Settings(sensor=sensors), FixedClock())
