"""MQTT intake on a real Mosquitto, against a bare callback: messages a second and processor time of the consumer."""

from __future__ import annotations

import json
import tempfile
from functools import partial
from pathlib import Path

from support.broker import Broker

from .common import CONSUMER, PEERS, Row, hear, peer, row, side_by_side, tell
from .pipeline import native_line, register_readings

TOPIC = "nodes/sill"
STEP_MS = 100


def mqtt_rows(quick: bool) -> list[Row]:
    """QoS 0 and QoS 1, ours and bare in turn, each consumer and publisher in a process of its own."""
    count, rounds = (3_000, 2) if quick else (20_000, 5)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as name, Broker() as broker:
        # Unlimited, else the broker drops what a slow consumer has not taken yet.
        with (broker.folder / "broker.conf").open("a") as config:
            config.write("max_queued_messages 0\n")
        broker.stop()
        broker.start()
        file = Path(name) / "lines"
        file.write_bytes(b"".join(native_line(r) for r in register_readings(count, STEP_MS)))
        for qos in (0, 1):
            rows += _rows(broker.port, file, count, qos, rounds)
    return rows


def _rows(port: int, file: Path, count: int, qos: int, rounds: int) -> list[Row]:
    kept: dict[str, list[dict[str, float]]] = {"core": [], "intake": [], "bare": []}
    published: list[float] = []

    def run(which: str) -> float:
        topic, program = (f"{TOPIC}/reading", PEERS) if which == "bare" else (TOPIC, CONSUMER)
        with (
            peer(which, port, topic, count, program=program) as consumer,
            peer("publish", port, f"{TOPIC}/reading", file, count, qos) as publisher,
        ):
            tell(publisher, "go")
            published.append(count / float(json.loads(hear(publisher))["seconds"]))
            kept[which].append(json.loads(hear(consumer)))
        return 0.0

    side_by_side(rounds, *(partial(run, which) for which in kept))
    lost = {which: int(sum(count - k["count"] for k in all_)) for which, all_ in kept.items()}
    note = f"{count:,} messages; the publisher hands over {sorted(published)[len(published) // 2]:,.0f}/s"
    if any(lost.values()):
        note += f"; LOST {lost}"
    speed = {which: [k["count"] / k["seconds"] for k in all_] for which, all_ in kept.items()}
    cost = {which: [1e6 * k["cpu"] / k["count"] for k in all_] for which, all_ in kept.items()}
    rows = []
    for which, what in (("intake", "hub and decoder"), ("core", "hub, decoder, dose, event loop, journal on disk")):
        rows += [
            row(f"mqtt QoS {qos}, {which}: messages", "1/s", speed[which], speed["bare"], note=f"{what}; {note}"),
            row(f"mqtt QoS {qos}, {which}: processor per 1000", "ms", cost[which], cost["bare"], better="less",
                note="of the consumer's process, all threads"),
        ]  # fmt: skip
    return rows
