"""Hundreds of register nodes at one broker, and a bare subscriber beside the daemon. Each in a process of its own.

nodes PORT COUNT HZ CONNECTIONS: native lines on nodes/n0.. from all of them, not in step, from a line on standard input
on. The first `CALLERS` are dark, and grow when they are told to: `cross K` prints how many ms later the daemon's target
call came back, or null. `end` prints how many lines each has sent, and how late the latest was sent.
bare PORT: takes every line in a bare callback; a line on standard input prints how many there were.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

import paho.mqtt.client as paho  # noqa: E402
from paho.mqtt.enums import CallbackAPIVersion  # noqa: E402

from uvdose.decode.native import frame_command, parse_command  # noqa: E402

CALLERS = 10
COUNTS = 400
STEP = 100_000  # counts x ms: 1 mJ/cm² at 100 counts for 1 mW/cm²
PATIENCE_S = 30.0  # on a machine with other work a line may lie for seconds


class Node:
    """One of them. Its lines go out one after the other, whoever asks for them."""

    def __init__(self, number: int, client: paho.Client) -> None:
        self.number = number
        self.client = client
        self.counts = 0 if number < CALLERS else COUNTS
        self.seq = self.grown = 0
        self.began_s = time.monotonic()
        self.guard = threading.Lock()
        self.called = threading.Event()

    def say(self, grow: int = 0) -> None:
        with self.guard:
            self.grown += grow
            uptime_ms = int((time.monotonic() - self.began_s) * 1000)
            register = self.grown + self.counts * uptime_ms
            body = f"uv1,{0x1000 + self.number:08x},{self.seq},{uptime_ms},{self.counts},{register},0,0,00"
            self.seq += 1
            self.client.publish(f"nodes/n{self.number}/reading", frame_command(body), 1)

    def obey(self, payload: bytes) -> None:
        text = parse_command(payload)
        if text is None:
            return
        if text == "now":
            self.say()
        if text.startswith("buzz 4"):
            self.called.set()
        self.client.publish(f"nodes/n{self.number}/answer", frame_command(f"ok {text.split()[0]}"), 1)


def connected(port: int) -> paho.Client:
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    while not client.is_connected():
        time.sleep(0.01)
    return client


def nodes(port: str, count: str, hz: str, connections: str) -> None:
    clients = [connected(int(port)) for _ in range(int(connections))]
    all_ = [Node(i, clients[i % len(clients)]) for i in range(int(count))]
    for client in clients:
        mine = [n for n in all_ if n.client is client]
        client.on_message = lambda _c, _u, m: all_[int(m.topic.split("/")[1][1:])].obey(m.payload)
        client.subscribe([(f"nodes/n{n.number}/command", 1) for n in mine])
    ended = threading.Event()
    latest = 0.0
    print("ready", flush=True)
    sys.stdin.readline()

    def send() -> None:
        nonlocal latest
        begin_s, each_s = time.monotonic(), 1 / float(hz)
        turn = 0
        while not ended.is_set():
            for k, node in enumerate(all_):
                due_s = begin_s + (turn + k / len(all_)) * each_s
                time.sleep(max(0.0, due_s - time.monotonic()))
                latest = max(latest, time.monotonic() - due_s)
                node.say()
            turn += 1

    sender = threading.Thread(target=send)
    sender.start()
    for line in sys.stdin:
        words = line.split()
        if words[:1] == ["cross"]:
            node = all_[int(words[1])]
            node.called.clear()
            at_s = time.monotonic()
            node.say(STEP)
            heard = node.called.wait(PATIENCE_S)
            print(json.dumps((time.monotonic() - at_s) * 1000 if heard else None), flush=True)
        else:
            break
    ended.set()
    sender.join()
    time.sleep(1.0)  # what is on the wire goes out
    print(json.dumps({"sent": [n.seq for n in all_], "latest_ms": 1000 * latest}), flush=True)
    for client in clients:
        client.disconnect()


def bare(port: str) -> None:
    seen = 0

    def message(*_: Any) -> None:
        nonlocal seen
        seen += 1

    client = connected(int(port))
    client.on_message = message
    client.on_subscribe = lambda *_: print("ready", flush=True)
    client.subscribe("nodes/+/reading", 1)
    sys.stdin.readline()
    print(json.dumps(seen), flush=True)
    client.disconnect()


if __name__ == "__main__":
    {"nodes": nodes, "bare": bare}[sys.argv[1]](*sys.argv[2:])
