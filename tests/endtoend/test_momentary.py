"""Momentary values without a time of their own, in real time, against a profile whose integral is known."""

from __future__ import annotations

import json
import math
import time
from pathlib import Path

from support.bench import RunningBench
from support.broker import Broker
from support.mqttnode import ValueMqttNode
from support.textboard import TextBoard

PERIOD_S = 7.0


def profile(s: float) -> float:
    """W/m²: clouds that come and go within seconds."""
    return 40.0 + 25.0 * math.sin(2 * math.pi * s / PERIOD_S)


def dose(a: float, b: float) -> float:
    """J/m², closed form."""
    w = 2 * math.pi / PERIOD_S
    return 40.0 * (b - a) + 25.0 / w * (math.cos(w * a) - math.cos(w * b))


def test_number_over_serial_and_json_over_mqtt_at_5_hz(tmp_path: Path) -> None:
    with (
        Broker() as broker,
        TextBoard(tmp_path / "board", profile, period_s=0.2) as board,
        ValueMqttNode(
            broker.port, "yard/uv", profile, lambda s, v: json.dumps({"battery": "100.00", "uv": {"a": f"{v:.6f}"}}),
            period_s=0.2,
        ) as node,
    ):
        settings = (
            f'[bench]\nname = "bindery"\n[mqtt]\nport = {broker.port}\n'
            f'[[sensor]]\nname = "board"\nlink = "serial"\nport = "{tmp_path}/board"\n'
            'format = "number"\nunit = "W/m2"\n'
            '[[sensor]]\nname = "yard"\nlink = "mqtt"\ntopic = "yard/uv"\n'
            'format = "json"\nfield = "/uv/a"\nunit = "W/m2"\n'
        )
        with RunningBench(tmp_path / "home", settings) as bench:
            bench.wait_live("board", "yard")
            bench.target("quick", 40.0, lead_s=0)
            ids = {name: bench.expose("quick", sensor=name, frame=name) for name in ("board", "yard")}
            both = list(ids.values())
            bench.wait_for(lambda: all(bench.exposure(i)["state"] == "reached" for i in both), 20, "both reached")
            time.sleep(1.3)
            for number in ids.values():
                bench.act(number, "finish")
            bench.wait_for(lambda: all(bench.exposure(i)["settled"] for i in ids.values()), 5, "settled")
            store = bench.store()
            epoch = store.last_epoch()
            assert epoch is not None
            since = time.clock_gettime(time.CLOCK_BOOTTIME) - time.monotonic()
            for name, source in (("board", board), ("yard", node)):
                zero_s = source.started_s + since - epoch.boot_anchor_us / 1e6 + epoch.dose_anchor_us / 1e6
                start, finish = store.acts(ids[name])
                a, b = (act.t_us / 1e6 - zero_s for act in (start, finish))
                e = bench.exposure(ids[name])
                assert abs(e["dose"] * 10 / dose(a, b) - 1) < 5e-3
                call = (store.reached_us(ids[name]) or 0) / 1e6 - zero_s
                assert abs(dose(a, call) / 400.0 - 1) < 5e-3
                assert (e["bridged_s"], e["missing_s"]) == (0, 0)
