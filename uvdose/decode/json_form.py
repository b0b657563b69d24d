"""JSON documents with the value, and where wanted a time and a running number, under a JSON Pointer each."""

from __future__ import annotations

import json
import re

from ..model import Decoded, MomentReading
from .pointer import Pointer, resolve
from .scalars import Unreadable, running_number, scalar, time_s

_ESCAPES = re.compile(rb"\x1b\[[0-?]*[ -/]*[@-~]")
_BOM = b"\xef\xbb\xbf"


def parse_document(data: bytes) -> object:
    """One JSON document. A byte order mark and colour codes around it are tolerated. Raises `Unreadable`.

    `NaN` and `Infinity` are not JSON (RFC 8259) but boards send them for other sensors in the same document; they
    are read here and refused where one of them is the value wanted. Of a name given twice the last one counts.
    """
    if b"\x1b" in data:  # never stands inside valid JSON
        data = _ESCAPES.sub(b"", data)
    try:
        document: object = json.loads(data.removeprefix(_BOM).decode("utf-8"))
    except (ValueError, RecursionError):
        raise Unreadable("not a JSON document") from None
    return document


class JsonReader:
    """Reads one document to one reading. A time or number that is set but cannot be read spoils the reading:
    placed by its arrival instead, it would be placed wrongly wherever messages are delayed."""

    def __init__(self, field: Pointer, time_field: Pointer | None, seq_field: Pointer | None, comma: bool) -> None:
        self._field = field
        self._time = time_field
        self._seq = seq_field
        self._comma = comma

    def __call__(self, data: bytes) -> list[Decoded]:
        document = parse_document(data)
        return [
            MomentReading(
                scalar(resolve(document, self._field), self._comma),
                None if self._time is None else time_s(resolve(document, self._time), self._comma),
                None if self._seq is None else running_number(resolve(document, self._seq)),
            )
        ]
