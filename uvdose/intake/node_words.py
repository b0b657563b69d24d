"""The words of a simulated node's wire: framed text, and the numbers of its commands. Pure.

Written apart from `decode`, so that each is a check of the other.
"""

from __future__ import annotations

import binascii
import re

_DECIMAL = re.compile(r"[0-9]+(\.[0-9]+)?")


class Fault(Exception):
    """The reason of an `err` answer."""


def frame(text: str) -> bytes:
    """Text, `*`, CRC-16/CCITT-FALSE of the text in four upper-case hex digits, LF."""
    body = text.encode("ascii")
    return body + b"*%04X\n" % binascii.crc_hqx(body, 0xFFFF)


def unframe(line: bytes) -> str | None:
    """The text of a framed line, or None when its checksum is missing or wrong."""
    body, star, crc = line.removesuffix(b"\n").removesuffix(b"\r").rpartition(b"*")
    if not star or len(crc) != 4 or crc.upper() != b"%04X" % binascii.crc_hqx(body, 0xFFFF):
        return None
    text = body.decode("latin-1")
    return text if text and text.isascii() and text.isprintable() and "*" not in text else None


def natural(word: str, allowed: range) -> int:
    """A whole number without a sign. Raises `Fault`."""
    if not (word.isascii() and word.isdigit()) or len(word) > 19 or int(word) not in allowed:
        raise Fault("value")
    return int(word)


def decimal(word: str, most: float) -> float:
    """A number from 0 to `most`, as boards read it: digits, and a point between digits. Raises `Fault`."""
    if not _DECIMAL.fullmatch(word) or float(word) > most:
        raise Fault("value")
    return float(word)
