"""From bytes to readings: one decoder for each format of the settings. Pure; bounded; nothing that comes raises.

A decoder belongs to one opening of a link: make a new one when the link opens again, so that the end of one
stream is never glued to the beginning of the next.
"""

from __future__ import annotations

import msgspec

from ..model import Refusal
from ..units import IRRADIANCE_UNITS
from .auto import AutoDecoder
from .base import Asked, Decoder
from .format import Wanted
from .formats import BY_NAME
from .forms import FormDecoder
from .native import NativeDecoder

__all__ = ["Decoder", "make_decoder"]


def make_decoder(sensor: Asked, from_start: bool = False, runs: bool = False) -> Decoder:
    """The decoder that a sensor's settings ask for.

    from_start: the stream begins with a whole line, as recordings do. Otherwise forms without a checksum make no
    reading of what comes before the first newline. Messages are always whole. runs: a native node's lines that come
    together may be given as a `RegisterRun`.
    Raises `Refusal` for a format that is not known and a field that cannot be one.
    """
    wanted = Wanted(sensor.field, sensor.time_field, sensor.seq_field, sensor.decimal_comma, sensor.unit)

    def make(form: str, field: str | None) -> Decoder:
        return _of_form(sensor.name, form, msgspec.structs.replace(wanted, field=field), from_start=True)

    if sensor.format == "auto":
        irradiance = sensor.unit in IRRADIANCE_UNITS or sensor.scale is not None
        return AutoDecoder(make, sensor.field, sensor.decimal_comma, irradiance, from_start)
    if sensor.format == "native":
        return NativeDecoder(runs)
    return _of_form(sensor.name, sensor.format, wanted, from_start)


def _of_form(sensor: str, form: str, wanted: Wanted, from_start: bool) -> Decoder:
    if form == "native":
        return NativeDecoder()
    known = BY_NAME.get(form)
    if known is None:
        raise Refusal(f"sensor {sensor!r}: format {form!r} is not known")
    try:
        read = known.reader(wanted)
    except ValueError as why:
        raise Refusal(f"sensor {sensor!r}: a field cannot be read: {why}") from None
    return FormDecoder(read, by_lines=known.by_lines, from_start=from_start)
