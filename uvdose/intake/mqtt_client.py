"""paho's client, so tied that its thread cannot die in silence and its faults come with their reason."""

from __future__ import annotations

import contextlib
import logging
import os
import ssl
import sys
import time
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from ..config import MqttSettings
from .link import Words
from .mqtt_words import FileFault, cannot_connect, uses_tls

KEEPALIVE_S = 20
LONGEST_WAIT_S = 5
MOST_QUEUED = 1000

_log = logging.getLogger(__name__)


class DaemonClient(paho.Client):
    """A client that connects for ever. `failed` is called from its thread with what kept it from connecting.

    MQTT 3.1.1, which every broker speaks, with a clean session: a broker that kept readings for an absent daemon would
    deliver them late and all at once. A momentary value without a time of its own would then be counted at the wrong
    time; a hole is honest. A native node's register closes the hole by itself, so nothing is won by waiting mail.
    """

    def __init__(
        self, settings: MqttSettings, folder: Path, client_id: str, failed: Callable[[Words], None],
        most_bytes: int | None = None,
    ) -> None:  # fmt: skip
        """most_bytes: longer messages are kept from us by the broker, for which it is asked in MQTT 5."""
        if most_bytes is None:
            super().__init__(CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=True)
        else:
            super().__init__(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTProtocolVersion.MQTTv5)
        self._most_bytes = most_bytes
        self._settings = settings
        self._folder = folder
        self._failed = failed
        self._ended = False
        self._has_tls = False
        self.max_queued_messages_set(MOST_QUEUED)
        self.reconnect_delay_set(min_delay=1, max_delay=LONGEST_WAIT_S)

    def begin(self) -> None:
        """Start the thread, which connects at once or later."""
        try:
            bound = None
            if self._most_bytes is not None:
                bound = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
                bound.MaximumPacketSize = self._most_bytes
            self.connect_async(self._settings.host, self._settings.port, keepalive=KEEPALIVE_S, properties=bound)
        except ValueError as err:
            self._failed(Words(f"mqtt.host or mqtt.port makes no sense: {err}", "correct them in uvdose.toml"))
            return
        self.loop_start()

    def end(self) -> None:
        """Say goodbye; the thread ends by itself. Never blocks."""
        self._ended = True
        self.disconnect()

    def reconnect(self) -> MQTTErrorCode:
        """As paho's, but every fault is told with its reason, and is an OSError, which paho tries again after."""
        try:
            self._read_files()
            return super().reconnect()
        except Exception as err:
            if not self._ended:
                self._failed(cannot_connect(err, self._settings))
            if isinstance(err, OSError):
                raise
            raise OSError(str(err)) from err

    def loop_forever(self, timeout: float = 1.0, retry_first_connection: bool = False) -> MQTTErrorCode:
        """As paho's, but an exception in it (a broker that speaks rubbish) costs the connection, not the thread."""
        while True:
            try:
                return super().loop_forever(timeout, retry_first_connection)
            except Exception as err:
                if self._ended:
                    return MQTTErrorCode.MQTT_ERR_SUCCESS
                _log.exception("MQTT connection")
                self._failed(Words(f"the MQTT connection failed: {type(err).__name__}: {err}", "please report this"))
            while not self._ended:
                time.sleep(LONGEST_WAIT_S / 5)
                with contextlib.suppress(OSError):
                    self.reconnect()
                    break

    def _read_files(self) -> None:
        """Password and CA, read anew at each try, so that mending a file is enough. Raises `FileFault`."""
        s = self._settings
        if s.username is not None:
            password = self._read_password(s.password_file) if s.password_file else None
            self.username_pw_set(s.username, password)
        if uses_tls(s) and not self._has_tls:
            ca = None if s.ca_file is None else str(self._folder / os.path.expanduser(s.ca_file))
            try:
                context = ssl.create_default_context(cafile=ca)
            except (OSError, ValueError) as err:
                why = f"mqtt.ca_file {ca} cannot be used: {getattr(err, 'strerror', None) or err}"
                raise FileFault(Words(why, "it must be the CA's certificate in PEM form")) from None
            self.tls_set_context(context)
            self._has_tls = True

    def _read_password(self, name: str) -> str:
        path = self._folder / os.path.expanduser(name)
        try:
            return path.read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as err:
            why = f"mqtt.password_file {path} cannot be read: {getattr(err, 'strerror', None) or err}"
            raise FileFault(Words(why, "write the password into this file, readable for this user only")) from None


def thread_fault(where: str) -> Words:
    """Words for the exception being handled in a callback, which is logged too."""
    kind, err, _ = sys.exc_info()
    _log.exception("MQTT %s", where)
    return Words(f"handling {where} failed: {kind.__name__ if kind else ''}: {err}", "please report this")
