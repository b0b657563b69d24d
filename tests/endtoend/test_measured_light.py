"""The main job on measured light: three days of June 2016 at Payerne, over ptys and over a real broker, at pace 60.

Source of the light: BSRN station Payerne, UVA one-minute means, read out of pvlib 0.11.2 (see support.payerne).
The oracle is sum(mean x 60 s) J/m², exact. The target is 9 min of clear noon light, 2,565 mJ/cm².
"""

from __future__ import annotations

import bisect
import contextlib
import statistics
import time
from collections.abc import Sequence
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.broker import Broker
from support.mqttnode import NativeMqttNode, ValueMqttNode, senml
from support.payerne import day_w_m2
from support.ptynode import PtyNode

PACE = 60.0
TARGET = 2565.0
# day: first minute (UTC), and at which minutes after it prints are started
DAYS = {23: (660, (0.4, 6.3, 13.7)), 17: (640, (0.4, 7.1, 15.2)), 11: (985, (0.4, 15.2, 34.9, 54.8))}
LASTS_MIN = 80.0  # by the tables the last one that has the light has it after 76.9
KINDS = ("serial", "native", "senml")

SENSOR = 'unit = "counts"\nscale = 0.01\nfull_scale = 1000000\n'  # 10 counts are 1 W/m²


def _settings(folder: Path, port: int) -> str:
    blocks = ['[bench]\nname = "bindery"\n', f"[mqtt]\nport = {port}\n"]
    for day in DAYS:
        blocks.append(f'[[sensor]]\nname = "serial{day}"\nlink = "serial"\nport = "{folder}/node{day}"\n{SENSOR}')
        blocks.append(f'[[sensor]]\nname = "native{day}"\nlink = "mqtt"\ntopic = "nodes/{day}"\n{SENSOR}')
        blocks.append(
            f'[[sensor]]\nname = "senml{day}"\nlink = "mqtt"\ntopic = "senml/{day}"\nformat = "senml"\nunit = "W/m2"\n'
        )
    return "\n".join(blocks)


class Truth:
    """Exact dose of held minute means, J/m², from the start of a table to any second."""

    def __init__(self, table_w_m2: Sequence[float]) -> None:
        self._table = table_w_m2
        self._sums = [0.0]
        for mean in table_w_m2:
            self._sums.append(self._sums[-1] + mean * 60)

    def dose(self, a_s: float, b_s: float) -> float:
        return self._upto(b_s) - self._upto(a_s)

    def _upto(self, s: float) -> float:
        minute, rest = int(s // 60), s % 60
        return self._sums[minute] + self._table[minute] * rest


@pytest.mark.timeout(300)
def test_prints_on_measured_light(tmp_path: Path, record_property: pytest.FixtureRequest) -> None:
    tables = {day: day_w_m2(day)[first : first + 240] for day, (first, _) in DAYS.items()}
    with contextlib.ExitStack() as stack:
        broker = stack.enter_context(Broker())
        nodes = {}
        for day, table in tables.items():
            nodes[f"serial{day}"] = stack.enter_context(PtyNode(tmp_path / f"node{day}", table, pace=PACE))
            nodes[f"native{day}"] = stack.enter_context(NativeMqttNode(broker.port, f"nodes/{day}", table, pace=PACE))
            nodes[f"senml{day}"] = stack.enter_context(ValueMqttNode(
                broker.port, f"senml/{day}", lambda s, t=table: t[int(s // 60)], senml, pace=PACE
            ))
        bench = stack.enter_context(RunningBench(tmp_path / "home", _settings(tmp_path, broker.port), PACE))
        bench.wait_live(*nodes)
        bench.target("endpaper", TARGET, lead_s=0)
        began_s = time.monotonic()
        todo = sorted((m, day, kind) for day, (_, minutes) in DAYS.items() for m in minutes for kind in KINDS)
        running: dict[int, str] = {}
        finished: dict[int, str] = {}
        while time.monotonic() - began_s < LASTS_MIN * 60 / PACE and (todo or running):
            while todo and (time.monotonic() - began_s) * PACE / 60 >= todo[0][0]:
                minute, day, kind = todo.pop(0)
                number = bench.expose("endpaper", sensor=f"{kind}{day}", frame=f"{kind}{day}-{minute}")
                running[number] = f"{kind}{day}"
            for e in bench.ask("GET", "/status")["exposures"]:
                if e["id"] in running and e["state"] == "reached":
                    bench.act(e["id"], "finish")
                    finished[e["id"]] = running.pop(e["id"])
            time.sleep(0.05)
        # every start that can finish has: what has not, had not the light
        left = dict(running)
        for number, sensor in left.items():
            e = bench.exposure(number)
            assert e["state"] == "counting" and e["fraction"] < 1
            assert sensor.endswith("11"), "only the darkening day has too little light"
        bench.wait_for(lambda: all(bench.exposure(n)["settled"] for n in finished), 5, "all settled")
        documents = {n: bench.exposure(n) for n in finished}
        store = bench.store()
        epoch = store.last_epoch()
        assert epoch is not None
        at_calls: dict[str, list[float]] = {kind: [] for kind in KINDS}
        at_ends: dict[str, list[float]] = {kind: [] for kind in KINDS}
        for number, sensor in finished.items():
            kind, day = sensor.rstrip("0123456789"), int(sensor[-2:])
            truth = Truth(tables[day])
            node = nodes[sensor]
            start, finish = store.acts(number)
            reached_us = store.reached_us(number)
            assert reached_us is not None
            if kind == "senml":
                boot0_us = (node.started_s * 1e6) + _boot_minus_monotonic_us()
                offset_s = (epoch.dose_anchor_us + (boot0_us - epoch.boot_anchor_us) * PACE) / 1e6
                begin, end, call = (t / 1e6 - offset_s for t in (start.t_us, finish.t_us, reached_us))
            else:
                assert start.refined is not None and finish.refined is not None, "acts are fixed on the line of `now`"
                begin, end = start.cut.uptime_ms / 1000, finish.cut.uptime_ms / 1000
                rows = list(store.readings(sensor, reached_us - 10_000_000, reached_us + 10_000_000))
                after = bisect.bisect_right([t for t, _ in rows], reached_us)
                t0_us, line = rows[after - 1]
                call = line.uptime_ms / 1000 + (reached_us - t0_us) / 1e6
            at_calls[kind].append(abs(truth.dose(begin, call) / 10 / TARGET - 1))
            at_ends[kind].append(abs(documents[number]["dose"] / (truth.dose(begin, end) / 10) - 1))
        print(f"\n{len(finished)} prints finished, {len(left)} had not the light; median, worst call; worst finish: "
              + ", ".join(f"{k} {statistics.median(at_calls[k]):.2e} {max(at_calls[k]):.2e} {max(at_ends[k]):.2e}"
                          for k in KINDS))
        assert (len(finished), len(left)) == (27, 3)
        for kind in KINDS:
            # 10 ms in which a busy machine does other work are 0.6 s here, a thousandth of such a print: the worst of
            # 27 calls says as much of the machine as of the count. DEVELOPERS.md has the figures of an idle one.
            assert statistics.median(at_calls[kind]) < 1e-3
            assert max(at_calls[kind]) < 5e-3
        assert max(at_ends["serial"]) < 1e-4 and max(at_ends["native"]) < 1e-4
        # Arrival is a little late, by the same for start and finish: what the light changed between them remains.
        assert max(at_ends["senml"]) < 5e-4


def _boot_minus_monotonic_us() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME) * 1e6 - time.clock_gettime(time.CLOCK_MONOTONIC) * 1e6
