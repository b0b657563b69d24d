"""Numbers, times and running numbers as sources write them, and text freed of what a terminal would swallow.

Nothing here guesses: what is not plainly a finite number of a sane size raises `Unreadable`, never becomes zero.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime

ABSURD = 1e12
"""Beyond this no value and no time in seconds is believed."""

VALUELESS = ("not a finite number", "null value", "empty value", "absurd number")
"""The reasons that speak of the sensor, not of the form: there is a place for the value, and none in it."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
# ECMA-48 control sequences (colours, cursor), and the two-character escapes.
_ESCAPES = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|[@-Z\\^_])")
_ISO_DATE = re.compile(r"[0-9]{4}-?[0-9]{2}-?[0-9]{2}[Tt ]")
_CONTROLS = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")
_NO_VALUE = frozenset(
    ("nan", "inf", "infinity", "null", "none", "true", "false", "ovf", "unavailable", "unknown", "error", "n/a")
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SEQ_END = 1 << 63


class Unreadable(Exception):
    """Input that cannot be read; the text is the short reason. Every decoder turns it into a `BadInput`."""


def clean_text(line: bytes) -> str:
    """A line as text: byte order mark and terminal escapes are taken out, blanks at both ends too.

    Raises `Unreadable` for control characters other than tab: bytes were lost or the speed is wrong, and
    what is left of a number would be another number.
    """
    text = line.decode("utf-8", "replace").removeprefix("\ufeff")
    if "\x1b" in text:
        text = _ESCAPES.sub("", text)
    if _CONTROLS.search(text):
        raise Unreadable("control characters")
    return text.strip()


def means_nothing(text: str) -> bool:
    """Whether a word stands for a value that is not there, such as `nan`."""
    return text.strip().lstrip("+-").casefold() in _NO_VALUE


def believable(value: float) -> float:
    """`value` where it is finite and not absurd. Raises `Unreadable`."""
    if not math.isfinite(value):
        raise Unreadable("not a finite number")
    if abs(value) > ABSURD:
        raise Unreadable("absurd number")
    return value


def number(text: str, comma: bool = False) -> float:
    """A decimal number. With `comma` the decimal mark is a comma, and a point is refused: it may part thousands.

    Raises `Unreadable`.
    """
    text = text.strip()
    if not text:
        raise Unreadable("empty value")
    if means_nothing(text):
        raise Unreadable("not a finite number")
    plain = text
    if comma:
        if "." in text:
            raise Unreadable("decimal point where a comma is set")
        plain = text.replace(",", ".", 1)
    if not _NUMBER.fullmatch(plain):
        raise Unreadable("not a number")
    return believable(float(plain))


def scalar(value: object, comma: bool = False) -> float:
    """A number out of a JSON document, also where it is written as a string. Raises `Unreadable`."""
    if isinstance(value, str):
        return number(value, comma)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Unreadable("null value" if value is None else "not a number")
    if isinstance(value, int) and abs(value) > ABSURD:  # before float(), which cannot hold every int
        raise Unreadable("absurd number")
    return believable(float(value))


def time_s(value: object, comma: bool = False) -> float:
    """A source's own time in seconds: a number of seconds (any origin), or ISO 8601 (then since 1970 UTC).

    ISO 8601 without an offset is taken as UTC: only differences of a source's times are ever used. Digits beyond
    microseconds are cut off. Raises `Unreadable`.
    """
    if isinstance(value, str) and _ISO_DATE.match(value.strip()):
        try:
            moment = datetime.fromisoformat(value.strip())
            if moment.tzinfo is None:
                moment = moment.replace(tzinfo=UTC)
            return (moment - _EPOCH).total_seconds()
        except (ValueError, OverflowError):
            raise Unreadable("time: not a moment of ISO 8601") from None
    try:
        return scalar(value, comma)
    except Unreadable as why:
        raise Unreadable(f"time: {why}") from None


def running_number(value: object) -> int:
    """A source's own running number: whole, below 2^63 either way, a string allowed. Raises `Unreadable`."""
    if isinstance(value, str):
        text = value.strip()
        digits = text[1:] if text[:1] in ("+", "-") else text
        if not (digits.isascii() and digits.isdigit() and len(digits) <= 20):
            raise Unreadable("seq: not a whole number")
        value = int(text)
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) >= _SEQ_END:
        raise Unreadable("seq: not a whole number")
    return value
