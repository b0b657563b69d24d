"""Listening at brokers that are none to rely on: sockets that speak as much MQTT as they need to (3.1.1, OASIS)."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from uvdose.config import MqttSettings
from uvdose.intake import mqtt_discover
from uvdose.intake.mqtt_discover import BrokerHeard, listen_broker

CONNACK, SUBACK = b"\x20\x02\x00\x00", b"\x90\x03\x00\x01\x00"


def _publish(topic: bytes, payload: bytes) -> bytes:
    body = struct.pack(">H", len(topic)) + topic + payload
    return bytes([0x30, len(body)]) + body


@contextlib.contextmanager
def _broker(connack: bytes, suback: bytes) -> Iterator[MqttSettings]:
    """Says the one after whatever comes first, the other after what comes next, and nothing more."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        door.listen()

        def serve() -> None:
            with contextlib.suppress(OSError):
                caller, _ = door.accept()
                with caller:
                    for answer in (connack, suback):
                        caller.recv(4096)
                        caller.sendall(answer)
                    while caller.recv(4096):
                        pass

        threading.Thread(target=serve, daemon=True).start()
        yield MqttSettings("127.0.0.1", int(door.getsockname()[1]))


@pytest.mark.parametrize("connack", [b"", CONNACK], ids=["no word", "no word on the topics"])
def test_one_that_does_not_answer_is_told_as_that(
    connack: bytes, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """It was told as one that closed the connection, which was done here."""
    monkeypatch.setattr(mqtt_discover, "READY_S", 0.7)
    with _broker(connack, b"") as settings:
        heard = listen_broker(settings, tmp_path, 0.2)
    assert heard.fault is not None and "does not answer" in heard.fault.why


def test_a_topic_that_is_no_text_does_not_hide_the_others(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A topic is UTF-8 (1.5.3); brokers that do not look pass on what is none."""
    said = SUBACK + _publish(b"home/\xff\xfe", b"1") + _publish(b"home/uv", b"2")
    with _broker(CONNACK, said) as settings:
        heard: BrokerHeard = listen_broker(settings, tmp_path, 1.0)
    assert heard.fault is None and list(heard.topics) == ["home/uv"]
    assert caplog.records == [], "no traceback for the person"
