"""What went wrong with a broker, in one line, and the likely cause as something to mend."""

from __future__ import annotations

import socket
import ssl

from ..config import MqttSettings
from .link import Words


class FileFault(OSError):
    """A file that the connection needs cannot be used; the words say which."""

    def __init__(self, words: Words) -> None:
        super().__init__(words.why)
        self.words = words


def uses_tls(settings: MqttSettings) -> bool:
    """Whether the connection goes over TLS: asked for, or a CA is named."""
    return settings.tls or settings.ca_file is not None


def place(settings: MqttSettings) -> str:
    """The broker, as sentences name it."""
    return f"the broker at {settings.host}:{settings.port}"


def refused(reason: str, settings: MqttSettings) -> Words:
    """The broker answered, and said no."""
    if "uthori" in reason or "user name" in reason.lower():
        mend = "check mqtt.username and the password in the file that mqtt.password_file names"
        if settings.username is None:
            mend = "it wants a login: set mqtt.username and mqtt.password_file"
        return Words(f"{place(settings)} refused the login: {reason}", mend)
    return Words(f"{place(settings)} refused the connection: {reason}", "look into the broker's log for its reason")


def closed_unanswered(settings: MqttSettings) -> Words:
    """The connection was made and closed before the broker said a word of MQTT."""
    if uses_tls(settings):
        mend = "is it an MQTT broker's TLS port, usually 8883? Does the broker want a client certificate?"
    else:
        mend = "if this is a TLS port (usually 8883), set mqtt.tls = true or mqtt.ca_file; else check mqtt.port"
    return Words(f"{place(settings)} closed the connection without an answer", mend)


def cannot_connect(err: BaseException | None, settings: MqttSettings) -> Words:
    """No connection, or no TLS over it."""
    where = place(settings)
    text = " ".join(str(err).split())[:160]
    if isinstance(err, FileFault):
        return err.words
    if isinstance(err, ssl.SSLCertVerificationError):
        return _certificate(err, settings)
    if isinstance(err, ssl.SSLError) or (uses_tls(settings) and isinstance(err, ConnectionResetError)):
        mend = "check mqtt.port: a plain port (usually 1883) speaks no TLS, a TLS port is usually 8883"
        return Words(f"no TLS with {where}: {text}", mend)
    if isinstance(err, socket.gaierror):
        return Words(f"there is no host {settings.host!r}", "correct mqtt.host, or check this computer's network")
    if isinstance(err, ConnectionRefusedError):
        return Words(f"nothing answers at {settings.host}:{settings.port}", "start the broker, or correct mqtt.port")
    if isinstance(err, TimeoutError):
        mend = "check mqtt.host and mqtt.port, the network, and firewalls; with TLS on, the port may speak none"
        return Words(f"{where} does not answer in time", mend)
    return Words(f"cannot connect to {where}: {text}", "check mqtt.host, mqtt.port and the network")


def _certificate(err: ssl.SSLCertVerificationError, settings: MqttSettings) -> Words:
    said = err.verify_message or str(err)
    why = f"the certificate of {place(settings)} is not trusted: {said}"
    if "mismatch" in said or "not valid for" in said:
        return Words(why, "write mqtt.host as the certificate names the broker")
    if "expired" in said or "not yet valid" in said:
        return Words(why, "renew the certificate, or set this computer's clock")
    if settings.ca_file is None:
        return Words(why, "name the CA that signed it in mqtt.ca_file")
    return Words(why, f"{settings.ca_file} must be the CA that signed the broker's certificate")
