"""The product's way in over MQTT as a process of its own, up to one of two depths.

consumer.py core PORT TOPIC COUNT: hub, core on an event loop with an exposure open, journal on disk; no API.
consumer.py intake PORT TOPIC COUNT: the hub and the decoder alone, in the hub's own thread.
Prints `ready` when subscribed, then wall and processor seconds as JSON.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
import tempfile
import threading
import time
from pathlib import Path

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

from bench.pipeline import NAME, lit_core, plug  # noqa: E402
from uvdose.clock import HostClock, next_epoch  # noqa: E402
from uvdose.config import MqttSettings, SensorSettings  # noqa: E402
from uvdose.decode.native import NativeDecoder  # noqa: E402
from uvdose.intake.link import Chunk, LinkState  # noqa: E402
from uvdose.intake.mqtt import MqttHub  # noqa: E402


def intake(port: int, topic: str, count: int) -> None:
    """Decode that many messages as they come, and do nothing with them."""
    sensor = SensorSettings(NAME, "mqtt", topic=topic)
    hub = MqttHub(MqttSettings(port=port), HostClock(next_epoch(None, 0, 0, 1.0)), "bench")
    link = hub.link_for(sensor)
    decoder = NativeDecoder()
    done = threading.Event()
    seen = 0
    began = (0.0, 0.0)

    def sink(item: Chunk | LinkState) -> None:
        nonlocal seen, began
        if isinstance(item, LinkState):
            if item.up:
                print("ready", flush=True)
            return
        if not seen:
            began = (time.perf_counter(), time.process_time())
        seen += len(decoder.message(item.data))
        if seen >= count:
            done.set()

    link.start(sink)
    done.wait(60)
    tell(began, seen, 0)
    hub.stop()


def tell(began: tuple[float, float], count: int, late: int) -> None:
    """What it took since then."""
    wall, cpu = time.perf_counter() - began[0], time.process_time() - began[1]
    print(json.dumps({"seconds": wall, "cpu": cpu, "count": count, "late": late}), flush=True)


async def consume(port: int, topic: str, count: int, home: Path) -> None:
    """Take in that many messages."""
    sensor = SensorSettings(NAME, "mqtt", topic=topic, scale=0.01, full_scale=100_000.0)
    core, journal = lit_core(home, sensor, count)
    hub = MqttHub(MqttSettings(port=port), core.clock, "bench")
    link = hub.link_for(sensor)
    plug(core, NAME, link)
    telling = asyncio.create_task(core.tell())
    began: list[tuple[float, float]] = []

    def sink(item: Chunk | LinkState) -> None:
        if isinstance(item, LinkState) and item.up:
            print("ready", flush=True)
        elif isinstance(item, Chunk) and not began:
            began.append((time.perf_counter(), time.process_time()))
            link.sink = core.sink  # what follows goes straight in, as in the daemon
        core.sink(item)

    hub.start(sink)
    link.start(sink)
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(core.reached.wait(), 60)
    channel = core.bench.channels[NAME]
    tell(began[0], channel.readings, channel.late)
    core.let_links_end()
    hub.stop()
    telling.cancel()
    journal.close()


if __name__ == "__main__":
    words = (int(sys.argv[2]), sys.argv[3], int(sys.argv[4]))
    if sys.argv[1] == "intake":
        intake(*words)
    else:
        with tempfile.TemporaryDirectory() as folder:
            asyncio.run(consume(*words, Path(folder)))
