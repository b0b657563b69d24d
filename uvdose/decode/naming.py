"""What a name says about the number behind it: plainly UV, a weaker sort of UV, plainly something else, or nothing.

The names are those that boards give: labels, columns, JSON Pointers, topics. Pure.
"""

from __future__ import annotations

import enum
import re

from ..settings_words import says_index

_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")
_UV = re.compile(r"uv|ultraviolet|guva")
_SHORT_WAVE = re.compile(r"\buv[\s_-]*[bc](?![a-z])", re.IGNORECASE)
_OTHER = frozenset((
    "temp", "temperature", "temperatur", "hum", "humidity", "rh", "pressure", "press", "baro", "dew", "altitude",
    "alt", "battery", "batt", "bat", "vcc", "vbat", "rssi", "snr", "lqi", "linkquality", "wifi", "heap", "uptime",
    "millis", "time", "timestamp", "t", "ts", "date", "seq", "count", "counter", "id", "node", "boot", "co2", "tvoc",
    "pm", "dust", "ph", "soil", "moisture", "lux", "als", "visible", "vis", "ir", "infrared", "white", "red", "green",
    "blue", "clear", "lat", "lon", "latitude", "longitude", "sat", "speed", "wind", "rain", "gust", "gain",
    "integration", "channel", "line", "version", "port", "free", "mode", "status", "retry", "retries", "error",
    "errors", "baud", "freq", "cpu", "load", "mem", "signal", "distance", "weight", "power", "energy", "current",
))


class Says(enum.Enum):
    """What a name says."""

    UV = "UV"
    INDEX = "a UV index"
    SHORT_WAVE = "UVB or UVC"
    OTHER = "something else"
    NOTHING = ""


def says(name: str) -> Says:
    """What a name says; of a JSON Pointer or a topic the end counts more than what stands before it."""
    if says_index(name):
        return Says.INDEX
    if _SHORT_WAVE.search(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).replace("_", " ")):
        return Says.SHORT_WAVE
    end = name.rstrip("/").rpartition("/")[2]
    for part in (end, name):
        words = [word.casefold() for word in _WORD.findall(part)]
        if any(_UV.match(word) for word in words):
            return Says.UV
        if any(word in _OTHER for word in words):
            return Says.OTHER
    return Says.NOTHING

