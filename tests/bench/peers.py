"""The other ends: writers, publishers and the bare loops that uvdose is compared with. Each in a process of its own.

Nothing of uvdose is imported here, so that a bare process is bare.

flood FD FILE BYTES: write that many bytes of a file to a pty's master, once a byte has come from there.
publish PORT TOPIC FILE COUNT QOS: publish the lines of a file, once a line comes on standard input.
echo PATH: read a port in chunks, write a command back for each reading's line.
read PATH…: read ports in chunks, a thread for each, and do nothing with what comes.
bare PORT TOPIC COUNT: receive messages with a bare callback; prints wall and processor seconds.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

BUZZ = b"buzz 4 5*186B\n"


def flood(fd: str, file: str, size: str) -> None:
    data = memoryview(Path(file).read_bytes())[: int(size)]
    print("ready", flush=True)
    os.read(int(fd), 64)
    while data:
        data = data[os.write(int(fd), data[:65536]) :]
    sys.stdin.readline()


def publish(port: str, topic: str, file: str, count: str, qos: str) -> None:
    import paho.mqtt.client as paho
    from paho.mqtt.enums import CallbackAPIVersion

    lines = Path(file).read_bytes().split(b"\n")[: int(count)]
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", int(port))
    client.loop_start()
    while not client.is_connected():
        time.sleep(0.01)
    print("ready", flush=True)
    sys.stdin.readline()
    begin = time.perf_counter()
    level = int(qos)
    last = None
    for line in lines:
        last = client.publish(topic, line, level)
    assert last is not None
    last.wait_for_publish(60)
    print(json.dumps({"seconds": time.perf_counter() - begin}), flush=True)
    sys.stdin.readline()
    client.disconnect()


def echo(path: str) -> None:
    import serial

    port = serial.Serial(path, timeout=0.2)
    print("ready", flush=True)
    rest = b""
    while True:
        *lines, rest = (rest + port.read(port.in_waiting or 1)).split(b"\n")
        for line in lines:
            if line.startswith(b"uv1,"):  # an answer to a command asks for nothing
                port.write(BUZZ)


def read(*paths: str) -> None:
    import serial

    def loop(path: str) -> None:
        port = serial.Serial(path, timeout=0.2)
        while True:
            port.read(port.in_waiting or 1)

    for path in paths:
        threading.Thread(target=loop, args=(path,), daemon=True).start()
    print("ready", flush=True)
    sys.stdin.readline()


def bare(port: str, topic: str, count: str) -> None:
    import paho.mqtt.client as paho
    from paho.mqtt.enums import CallbackAPIVersion

    wanted = int(count)
    seen = 0
    size = 0
    begin = (0.0, 0.0)
    done = threading.Event()

    def message(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        nonlocal seen, size, begin
        if not seen:
            begin = (time.perf_counter(), time.process_time())
        seen += 1
        size += len(message.payload)
        if seen == wanted:
            done.set()

    def connected(*_: object) -> None:
        client.subscribe(topic, 1)

    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = message
    client.on_connect = connected
    client.on_subscribe = lambda *_: print("ready", flush=True)
    client.connect("127.0.0.1", int(port))
    client.loop_start()
    done.wait(60)
    wall, cpu = time.perf_counter() - begin[0], time.process_time() - begin[1]
    print(json.dumps({"seconds": wall, "cpu": cpu, "count": seen}), flush=True)
    client.disconnect()


if __name__ == "__main__":
    ends: list[Callable[..., None]] = [flood, publish, echo, read, bare]
    next(end for end in ends if end.__name__ == sys.argv[1])(*sys.argv[2:])
