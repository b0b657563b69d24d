"""TLS on the network's socket, with the person's own certificate."""

from __future__ import annotations

import ssl
from pathlib import Path

from ..model import Refusal


def tls_context(cert: Path, key: Path) -> ssl.SSLContext:
    """A server's context. Raises `Refusal` for files that cannot be used."""
    for what, path in (("tls_cert", cert), ("tls_key", key)):
        try:
            with path.open("rb") as handle:
                handle.read(1)
        except OSError as err:
            raise Refusal(
                f"web.{what} {path} cannot be read ({err.strerror}): `uvdose phone ca` makes one, or name another"
            ) from None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_alpn_protocols(["http/1.1"])
    try:
        context.load_cert_chain(cert, key, password=lambda: b"")
    except (ssl.SSLError, ValueError, OSError) as err:
        why = getattr(err, "reason", None) or str(err)
        raise Refusal(
            f"web.tls_cert {cert} and web.tls_key {key} cannot be used ({why}): they must be a certificate and its key"
            " without a password, both in PEM form"
        ) from None
    return context
