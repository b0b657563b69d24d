"""What every decoder looks like: bytes in, readings out, never an exception."""

from __future__ import annotations

from typing import Protocol

from ..model import Decoded


class Decoder(Protocol):
    """A decoder of one sensor's bytes. It keeps at most one unfinished line, of bounded length."""

    def feed(self, data: bytes) -> list[Decoded]:
        """Bytes of a stream, cut anywhere; returns what became whole, in order. Never raises."""

    def message(self, data: bytes) -> list[Decoded]:
        """One whole message of a transport that keeps messages apart. Never raises."""
