"""What every decoder looks like: bytes in, readings out, never an exception; and what it is made by."""

from __future__ import annotations

from typing import Protocol

from ..model import Decoded


class Decoder(Protocol):
    """A decoder of one sensor's bytes. It keeps at most one unfinished line, of bounded length."""

    def feed(self, data: bytes) -> list[Decoded]:
        """Bytes of a stream, cut anywhere; returns what became whole, in order. Never raises."""

    def message(self, data: bytes) -> list[Decoded]:
        """One whole message of a transport that keeps messages apart. Never raises."""


class Asked(Protocol):
    """What a decoder is made by, of a sensor's settings. `config` goes by the list of formats, so not the reverse."""

    @property
    def name(self) -> str: ...
    @property
    def format(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def scale(self) -> float | None: ...
    @property
    def field(self) -> str | None: ...
    @property
    def time_field(self) -> str | None: ...
    @property
    def seq_field(self) -> str | None: ...
    @property
    def decimal_comma(self) -> bool: ...
