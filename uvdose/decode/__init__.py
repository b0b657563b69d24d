"""From bytes to readings: one decoder for each format of the settings. Pure; bounded; nothing that comes raises.

A decoder belongs to one opening of a link: make a new one when the link opens again, so that the end of one
stream is never glued to the beginning of the next.
"""

from __future__ import annotations

import msgspec

from ..config import SensorSettings
from ..model import Refusal
from ..units import IRRADIANCE_UNITS
from .auto import AutoDecoder
from .base import Decoder
from .forms import FormDecoder
from .json_form import JsonReader
from .line_protocol import LineProtocolReader
from .native import NativeDecoder
from .pointer import parse_pointer
from .senml import SenmlReader
from .table import TableReader
from .text import label_reader, number_reader

__all__ = ["Decoder", "make_decoder"]


def make_decoder(sensor: SensorSettings, from_start: bool = False, runs: bool = False) -> Decoder:
    """The decoder that a sensor's settings ask for.

    from_start: the stream begins with a whole line, as recordings do. Otherwise forms without a checksum make no
    reading of what comes before the first newline. Messages are always whole. runs: a native node's lines that come
    together may be given as a `RegisterRun`.
    Raises `Refusal` for a format that is not known and a field that cannot be one.
    """
    comma = sensor.decimal_comma
    match sensor.format:
        case "native":
            return NativeDecoder(runs)
        case "senml":
            return FormDecoder(SenmlReader(sensor.field, sensor.unit), by_lines=False, from_start=from_start)
        case "number":
            return FormDecoder(number_reader(comma), by_lines=True, from_start=from_start)
        case "label":
            return FormDecoder(label_reader(sensor.field, comma), by_lines=True, from_start=from_start)
        case "csv":
            return FormDecoder(_table(sensor), by_lines=True, from_start=from_start)
        case "json":
            return FormDecoder(_json(sensor), by_lines=False, from_start=from_start)
        case "line-protocol":
            return FormDecoder(_line_protocol(sensor), by_lines=True, from_start=from_start)
        case "auto":
            return _auto(sensor, from_start)
        case other:
            raise Refusal(f"sensor {sensor.name!r}: format {other!r} is not known")


def _auto(sensor: SensorSettings, from_start: bool) -> AutoDecoder:
    def make(form: str, field: str | None) -> Decoder:
        return make_decoder(msgspec.structs.replace(sensor, format=form, field=field), from_start=True)

    irradiance = sensor.unit in IRRADIANCE_UNITS or sensor.scale is not None
    return AutoDecoder(make, sensor.field, sensor.decimal_comma, irradiance, from_start)


def _line_protocol(sensor: SensorSettings) -> LineProtocolReader:
    try:
        return LineProtocolReader(sensor.field)
    except ValueError as why:
        raise Refusal(f"sensor {sensor.name!r}: a field cannot be read: {why}") from None


def _table(sensor: SensorSettings) -> TableReader:
    try:
        return TableReader(sensor.field, sensor.time_field, sensor.seq_field, sensor.decimal_comma)
    except ValueError as why:
        raise Refusal(f"sensor {sensor.name!r}: a column cannot be read: {why}") from None


def _json(sensor: SensorSettings) -> JsonReader:
    try:
        field, time_field, seq_field = (
            None if text is None else parse_pointer(text)
            for text in (sensor.field, sensor.time_field, sensor.seq_field)
        )
    except ValueError as why:
        raise Refusal(f"sensor {sensor.name!r}: a field cannot be read: {why}") from None
    if field is None:
        field = ()  # the whole document is the value
    return JsonReader(field, time_field, seq_field, sensor.decimal_comma)
