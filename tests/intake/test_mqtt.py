"""MQTT, on a real broker."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.broker import Broker, free_port, make_ca
from support.sink import Gathered

from uvdose.clock import FixedClock
from uvdose.config import MqttSettings, SensorSettings
from uvdose.intake.mqtt import MqttHub


class Peer:
    """A client beside the daemon: the node, or whoever listens."""

    def __init__(self, broker: Broker, username: str | None = None, password: str | None = None) -> None:
        self.heard: queue.Queue[tuple[str, bytes, bool]] = queue.Queue()
        self._granted = threading.Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2)
        if username is not None:
            self.client.username_pw_set(username, password)
        self.client.on_message = lambda c, u, m: self.heard.put((m.topic, m.payload, m.retain))
        self.client.on_subscribe = lambda *rest: self._granted.set()
        self.client.connect("127.0.0.1", broker.port)
        self.client.loop_start()

    def say(self, topic: str, payload: bytes | str, retain: bool = False) -> None:
        self.client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(5)

    def listen(self, topic: str) -> None:
        self._granted.clear()
        self.client.subscribe(topic, qos=1)
        assert self._granted.wait(5)

    def end(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def peer(broker: Broker) -> Iterator[Peer]:
    made = Peer(broker)
    yield made
    made.end()


@pytest.fixture
def hubs() -> Iterator[list[MqttHub]]:
    made: list[MqttHub] = []
    yield made
    for hub in made:
        hub.stop()


def settings(port: int, **more) -> MqttSettings:
    return MqttSettings(host="127.0.0.1", port=port, **more)


NATIVE = SensorSettings("roof", "mqtt", topic="uv/roof")


def test_a_native_node_there_and_back(broker: Broker, peer: Peer, hubs: list, gathered: Gathered) -> None:
    hub = MqttHub(settings(broker.port), FixedClock(55), "bench")
    hubs.append(hub)
    link = hub.link_for(NATIVE)
    assert not link.send(b"early")
    link.start(gathered)
    gathered.wait_state(True, "subscribed")
    peer.listen("uv/roof/command")
    assert link.send(b"now*1234\n")
    assert peer.heard.get(timeout=5) == ("uv/roof/command", b"now*1234\n", False)
    peer.say("uv/roof/reading", b"one")
    peer.say("uv/roof/answer", b"ok now")
    peer.say("uv/roof/other", b"no")
    assert gathered.wait_for(lambda: len(gathered.chunks) == 2)
    assert [(c.data, c.whole, c.arrival_us) for c in gathered.chunks] == [(b"one", True, 55), (b"ok now", True, 55)]


def test_a_trailing_reading_is_stripped(broker: Broker, peer: Peer, hubs: list, gathered: Gathered) -> None:
    hub = MqttHub(settings(broker.port), FixedClock(), "bench")
    hubs.append(hub)
    hub.link_for(SensorSettings("roof", "mqtt", topic="uv/roof/reading")).start(gathered)
    gathered.wait_state(True)
    peer.say("uv/roof/reading", b"one")
    assert gathered.wait_for(lambda: gathered.data == b"one")


def test_other_formats_have_no_way_back_and_may_share_a_topic(
    broker: Broker, peer: Peer, hubs: list, gathered: Gathered
) -> None:
    hub = MqttHub(settings(broker.port), FixedClock(), "bench")
    hubs.append(hub)
    names = ("a", "b")
    links = [
        hub.link_for(SensorSettings(n, "mqtt", topic="home/sky", format="json", field=f"/{n}")) for n in names
    ]
    hub.start(gathered)
    assert gathered.wait_for(lambda: [s.sensor for s in gathered.states if s.up] == ["a", "b"])
    peer.say("home/sky", b'{"a": 1, "b": 2}')
    assert gathered.wait_for(lambda: sorted(c.sensor for c in gathered.chunks) == ["a", "b"])
    assert not links[0].send(b"x")


def test_retained_readings_are_not_light(broker: Broker, peer: Peer, hubs: list, gathered: Gathered) -> None:
    peer.say("uv/roof/reading", b"old", retain=True)
    hub = MqttHub(settings(broker.port), FixedClock(), "bench")
    hubs.append(hub)
    hub.link_for(NATIVE).start(gathered)
    gathered.wait_state(True)
    time.sleep(0.3)
    peer.say("uv/roof/reading", b"new", retain=True)  # retained, but new to us: delivered as live
    assert gathered.wait_for(lambda: bool(gathered.chunks))
    assert gathered.data == b"new"


def test_a_node_that_goes_and_comes(broker: Broker, peer: Peer, hubs: list, gathered: Gathered) -> None:
    peer.say("uv/roof/online", b"0", retain=True)
    hub = MqttHub(settings(broker.port), FixedClock(), "bench")
    hubs.append(hub)
    link = hub.link_for(NATIVE)
    link.start(gathered)
    state = gathered.wait_state(False, "the node went offline")
    assert state.mend and not link.send(b"x")
    peer.say("uv/roof/online", b"1", retain=True)
    gathered.wait_state(True)
    peer.say("uv/roof/online", b"0", retain=True)
    gathered.wait_state(False)
    peer.say("uv/roof/reading", b"alive")
    gathered.wait_state(True)


def test_last_will_and_goodbye(broker: Broker, peer: Peer, hubs: list, gathered: Gathered) -> None:
    peer.listen("uvdose/bench/online")
    hub = MqttHub(settings(broker.port), FixedClock(), "bench")
    hub.start(gathered)
    assert peer.heard.get(timeout=5)[1] == b"1"
    hub.stop()
    assert peer.heard.get(timeout=5)[1] == b"0"
    other = MqttHub(settings(broker.port), FixedClock(), "bench")
    hubs.append(other)
    other.start(gathered)
    assert peer.heard.get(timeout=5)[1] == b"1"
    other._client.socket().shutdown(2)  # a connection that is lost without a goodbye
    assert [peer.heard.get(timeout=10)[1] for _ in range(2)] == [b"0", b"1"]


@pytest.mark.parametrize("kill", [True, False])
def test_a_broker_that_comes_back_is_subscribed_to_again(hubs: list, gathered: Gathered, kill: bool) -> None:
    with Broker() as broker:
        hub = MqttHub(settings(broker.port), FixedClock(), "bench")
        hubs.append(hub)
        link = hub.link_for(NATIVE)
        link.start(gathered)
        gathered.wait_state(True)
        (broker.kill if kill else broker.stop)()
        gathered.wait_state(False)
        assert not link.send(b"x")
        for n in range(50):
            assert hub.publish("uvdose/bench/state", f"state {n}", retain=True)
            assert hub.publish("uvdose/bench/event", f"event {n}")
        broker.start()
        gathered.wait_state(True, seconds=15)
        peer = Peer(broker)
        peer.say("uv/roof/reading", b"again")
        assert gathered.wait_for(lambda: gathered.data == b"again")
        peer.listen("uvdose/bench/state")
        assert peer.heard.get(timeout=5) == ("uvdose/bench/state", b"state 49", True)
        peer.end()
    said = [(s.up, s.why) for s in gathered.states]
    assert all(a != b for a, b in pairwise(said))


def test_no_broker_at_first(hubs: list, gathered: Gathered) -> None:
    hub = MqttHub(settings(free_port()), FixedClock(), "bench")
    hubs.append(hub)
    hub.link_for(NATIVE).start(gathered)
    state = gathered.wait_state(False, "nothing answers")
    assert "start the broker" in state.mend
    time.sleep(2.5)
    assert len(gathered.states) == 1, "told once, however often it is tried"


def test_publishing_never_blocks_and_is_bounded(hubs: list, gathered: Gathered) -> None:
    hub = MqttHub(settings(free_port()), FixedClock(), "bench")
    hubs.append(hub)
    hub.start(gathered)
    before = time.monotonic()
    taken = [hub.publish("uvdose/bench/event", "x" * 100) for _ in range(5000)]
    assert time.monotonic() - before < 3
    assert sum(taken) == 1000
    assert all(hub.publish("uvdose/bench/state", "x", retain=True) for _ in range(5000))
    before = time.monotonic()
    hub.stop()
    assert time.monotonic() - before < 4
    assert not hub.publish("uvdose/bench/event", "late")


def test_passwords(tmp_path: Path, hubs: list) -> None:
    secret = tmp_path / "secret"
    with Broker(users={"daemon": "a long word"}) as broker:
        refused = Gathered()
        secret.write_text("wrong\n")
        hub = MqttHub(settings(broker.port, username="daemon", password_file="secret"), FixedClock(), "b", tmp_path)
        hubs.append(hub)
        hub.link_for(NATIVE).start(refused)
        state = refused.wait_state(False, "refused the login")
        assert "password_file" in state.mend and "wrong" not in state.why
        time.sleep(1.5)
        assert len(refused.states) == 1
        secret.write_text("a long word\n")  # mended while it runs; the newline is no part of it
        refused.wait_state(True, seconds=12)

        nobody = Gathered()
        bare = MqttHub(settings(broker.port), FixedClock(), "b")
        hubs.append(bare)
        bare.link_for(NATIVE).start(nobody)
        assert "mqtt.username" in nobody.wait_state(False, "refused the login").mend

        lost = Gathered()
        absent = MqttHub(settings(broker.port, username="daemon", password_file="none"), FixedClock(), "b", tmp_path)
        hubs.append(absent)
        absent.link_for(NATIVE).start(lost)
        lost.wait_state(False, "mqtt.password_file")


def test_tls(tmp_path: Path, hubs: list) -> None:
    with Broker(tls=True) as broker, Broker() as plain:
        other_ca = make_ca(tmp_path, "other")

        def state_of(port: int, up: bool, word: str, **more):
            seen = Gathered()
            hub = MqttHub(settings(port, **more), FixedClock(), "b")
            hubs.append(hub)
            hub.link_for(NATIVE).start(seen)
            return seen.wait_state(up, word)

        assert state_of(broker.port, True, "subscribed", ca_file=str(broker.ca)).up
        wrong = state_of(broker.port, False, "not trusted", ca_file=str(other_ca))
        assert str(other_ca) in wrong.mend
        system = state_of(broker.port, False, "not trusted", tls=True)
        assert "mqtt.ca_file" in system.mend
        talk = state_of(broker.port, False, "without an answer")
        assert "mqtt.tls" in talk.mend
        state_of(plain.port, False, "no TLS", ca_file=str(broker.ca))
        state_of(broker.port, False, "mqtt.ca_file", ca_file=str(tmp_path / "none.pem"))


def test_a_host_that_is_none(hubs: list) -> None:
    for host in ("no such host", "a..b", ""):
        seen = Gathered()
        hub = MqttHub(MqttSettings(host=host), FixedClock(), "b")
        hubs.append(hub)
        hub.link_for(NATIVE).start(seen)
        assert seen.wait_state(False).mend


def test_a_sink_that_fails_does_not_end_the_thread(broker: Broker, peer: Peer, hubs: list) -> None:
    seen = Gathered()

    def sink(item) -> None:
        if getattr(item, "data", b"") == b"bad":
            raise RuntimeError("sink")
        seen(item)

    hub = MqttHub(settings(broker.port), FixedClock(), "bench")
    hubs.append(hub)
    hub.link_for(NATIVE).start(sink)
    seen.wait_state(True)
    peer.say("uv/roof/reading", b"bad")
    seen.wait_state(False, "a message failed")
    peer.say("uv/roof/reading", b"good")
    assert seen.wait_for(lambda: seen.data == b"good")


def test_a_broker_that_speaks_rubbish_is_survived(hubs: list, gathered: Gathered) -> None:
    import socket

    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        hub = MqttHub(settings(port), FixedClock(), "b")
        hubs.append(hub)
        hub.link_for(NATIVE).start(gathered)
        for answer in (b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x20\x02\x00\x00\x30\x01\xff", b"\x20\x00"):
            server.settimeout(15)
            connection, _ = server.accept()
            with connection:
                connection.recv(1000)
                connection.sendall(answer)
                time.sleep(0.2)
            assert gathered.wait_for(lambda: bool(gathered.states) and not gathered.states[-1].up)
