"""Faults between sensors, broker and daemon, over a real broker."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import threading
import time

import paho.mqtt.client as paho
from faults.case import Case
from faults.harness import Run
from faults.serial_cases import nothing_bridged, wire
from support.broker import Broker
from support.needs import program

from uvdose.intake.node_words import frame

ALL = ("mqtt", "json")
LOGIN = 'username = "daemon"\npassword_file = "password"\n'


class GuardedBroker(Broker):
    """A broker with logins and an access list, both of which can change while it runs."""

    def __init__(self) -> None:
        super().__init__({"daemon": "daemon", "board": "board"})
        self._access = self.folder / "access"
        self.allow("read #", "write #")
        with self._config.open("a") as config:
            config.write(f"acl_file {self._access}\n")

    def allow(self, *rules: str) -> None:
        """What the daemon may do; boards may do everything."""
        lines = ["user board", "topic readwrite #", "user daemon", *(f"topic {rule}" for rule in rules)]
        self._access.write_text("\n".join(lines) + "\n")
        self._access.chmod(0o600)

    def password(self, word: str) -> None:
        """The daemon's password as the broker has it."""
        words = [program("mosquitto_passwd"), "-b", str(self.folder / "passwords"), "daemon", word]
        subprocess.run(words, check=True, capture_output=True, timeout=20)

    def reload(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGHUP)


def with_login(run: Run) -> None:
    home = run.folder / "home"
    home.mkdir(exist_ok=True)
    (home / "password").write_text("daemon\n")


def broker_killed(run: Run) -> None:
    for _ in range(2):
        run.begun()
        run.broker.kill()
        run.nap(0.3, 2.0)
        run.broker.start()
        run.nap(1.0, 2.5)


def broker_stopped(run: Run) -> None:
    run.begun()
    run.broker.stop()
    run.nap(0.3, 3.0)
    run.broker.start()


def broker_stands_still(run: Run) -> None:
    """Nothing answers, nothing is closed: as a network that has gone away."""
    pid = run.broker.pid
    run.begun()
    os.kill(pid, signal.SIGSTOP)
    run.nap(2.5, 5.0)
    os.kill(pid, signal.SIGCONT)


def broker_still_at_call(run: Run) -> None:
    """It stands still from before the call until after the acknowledgement: no buzz may come out of its stores then."""
    pid = run.broker.pid
    run.begun()
    os.kill(pid, signal.SIGSTOP)
    end_s = time.monotonic() + 12
    while len(run.quiet_s) < len(run.ids) and time.monotonic() < end_s:
        time.sleep(0.05)
    run.nap(1.5)
    os.kill(pid, signal.SIGCONT)


def login_revoked(run: Run) -> None:
    assert isinstance(run.broker, GuardedBroker)
    run.broker.password("another")
    run.begun()
    run.broker.reload()
    run.nap(1.5, 3.0)
    run.broker.password("daemon")
    run.broker.reload()


def topic_denied(run: Run) -> None:
    assert isinstance(run.broker, GuardedBroker)
    run.broker.allow("write #", "read nodes/+/answer", "read nodes/+/online")
    run.begun()
    run.broker.reload()
    run.nap(3.5, 4.5)
    run.broker.allow("read #", "write #")
    run.broker.reload()


def _publish(run: Run, topic: str, payload: bytes, retain: bool = False) -> None:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", run.broker.port)
    client.loop_start()
    client.publish(topic, payload, 1, retain).wait_for_publish(5)
    client.disconnect()
    client.loop_stop()


def retained(run: Run) -> None:
    """Before the daemon is there, and again while it is: an old line of the very node, an old value."""
    node = run.first.node
    for name, source in run.sources.items():
        if hasattr(source, "node"):
            line = frame(f"uv1,{node.boot:08x},{2**31 - 5},{2**31 - 5},900,{10**9},0,0,00")
            _publish(run, f"nodes/{name}/reading", line, retain=True)
        else:
            _publish(run, f"values/{name}", json.dumps({"n": 10**6, "t": 10**6, "uv": 900.0}).encode(), retain=True)


def retained_again(run: Run) -> None:
    run.begun()
    run.broker.stop()
    run.broker.start()
    retained(run)
    run.nap(1.0, 2.0)
    _kick(run)


def _kick(run: Run) -> None:
    """Another client takes the daemon's name, and with it its connection, and goes again."""
    log = (run.broker.folder / "log").read_text(errors="replace")
    name = re.findall(r" as (uvdose-bindery-[0-9a-f]+)", log)[-1]
    thief = paho.Client(paho.CallbackAPIVersion.VERSION2, client_id=name)
    thief.connect("127.0.0.1", run.broker.port)
    end = time.monotonic() + 0.5
    while time.monotonic() < end:
        thief.loop(0.05)
    thief.disconnect()


def taken_over(run: Run) -> None:
    run.begun()
    for _ in range(2):
        _kick(run)
        run.nap(0.8, 2.5)


class _Watcher:
    """Remembers what the daemon publishes about itself."""

    def __init__(self, port: int) -> None:
        self.online: list[bytes] = []
        self._news = threading.Event()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _c, _u, m: self.online.append(bytes(m.payload))
        self._client.on_connect = lambda c, *_: c.subscribe("uvdose/bindery/online", 1)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def wait(self, word: bytes, seconds: float) -> bool:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.online and self.online[-1] == word:
                return True
            time.sleep(0.02)
        return False

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def last_will(run: Run) -> None:
    watcher = _Watcher(run.broker.port)
    run.stack.callback(watcher.close)
    if not watcher.wait(b"1", 5):
        run.wrong("the daemon does not say that it is online")
    run.begun()
    run.bench.kill()
    if not watcher.wait(b"0", 5):
        run.wrong("its last will does not come")
    run.nap(0.2, 1.5)
    run.bench.start()
    if not watcher.wait(b"1", 5):
        run.wrong("it does not come online again")


def node_cut(run: Run) -> None:
    run.begun()
    run.first.cut()
    run.nap(2.0)


def node_loses_power_word(run: Run) -> None:
    """The node's last will comes, and its lines go on: a late will of an older connection."""
    run.begun()
    _publish(run, f"{run.first.topic}/online", b"0", retain=True)
    run.nap(1.0, 2.0)


CASES = [
    Case("broker: killed and restarted", ALL, broker_killed, "link"),
    Case("broker: stopped and restarted", ALL, broker_stopped, "link"),
    Case("broker: stands still", ALL, broker_stands_still, "silent"),
    Case("broker: still at the call", ALL, broker_still_at_call, terminal=True),
    Case("broker: login revoked", ALL, login_revoked, "link", broker=GuardedBroker, mqtt=LOGIN, setup=with_login,
         options={"user": "board"}),
    Case("broker: topic denied", ALL, topic_denied, "silent", momentary=0.15, broker=GuardedBroker, mqtt=LOGIN,
         setup=with_login, options={"user": "board"}, lasts_s=10.0),
    Case("broker: retained readings", ALL, retained_again, setup=retained),
    Case("broker: client id taken over", ALL, taken_over, "link"),
    Case("broker: last will of the daemon", ALL, last_will),
    Case("mqtt node: network cut", ALL, node_cut, "link", nothing_bridged),
    Case("mqtt node: a late last will", ALL, node_loses_power_word, "link", nothing_bridged),
    *(Case(f"mqtt node: {mode}", ("mqtt",), wire(mode), check=nothing_bridged)
      for mode in ("lose", "double", "reorder")),
    *(Case(f"json: {mode}, {'own time' if kind == 'json' else 'number only'}", (kind,), wire(mode), momentary=share)
      for kind, share in (("json", 2e-3), ("jsonseq", 1e-2)) for mode in ("double", "reorder")),
]


