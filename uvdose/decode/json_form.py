"""JSON documents with the value, and where wanted a time and a running number, under a JSON Pointer each."""

from __future__ import annotations

import json
import re

from ..model import Decoded, MomentReading
from .format import Format, Line, Shape, Wanted
from .forms import Reader
from .pointer import Pointer, parse_pointer, resolve
from .scalars import Unreadable, means_nothing, running_number, scalar, time_s

MOST_FIELDS = 64
DEEPEST = 8

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


def _reader(wanted: Wanted) -> Reader:
    field, time_field, seq_field = (
        None if text is None else parse_pointer(text) for text in (wanted.field, wanted.time_field, wanted.seq_field)
    )
    return JsonReader(() if field is None else field, time_field, seq_field, wanted.comma)  # (): the whole document


def looked_at(line: Line) -> object:
    """The document that a line or message looks like. Raises `Unreadable`, also for a number or text alone."""
    if line.data.strip().removeprefix(_BOM)[:1] not in (b"{", b"[", b"\x1b"):
        raise Unreadable("not a JSON document")
    return parse_document(line.data)


def _shape(line: Line) -> Shape | None:
    try:
        document = looked_at(line)
    except Unreadable:
        return None
    several = document if isinstance(document, list) else [document]
    if not any(isinstance(one, dict) for one in several):
        return None
    fields: dict[str, float | None] = {}
    _leaves(document, "", fields, 0)
    return Shape("json", fields)


def _leaves(value: object, pointer: str, into: dict[str, float | None], depth: int) -> None:
    if depth > DEEPEST or len(into) >= MOST_FIELDS:
        return
    if isinstance(value, dict):
        for key, inner in value.items():
            _leaves(inner, f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}", into, depth + 1)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            _leaves(inner, f"{pointer}/{index}", into, depth + 1)
    else:
        try:
            into[pointer] = scalar(value)
        except Unreadable:
            if value is None or (isinstance(value, str) and means_nothing(value)):
                into[pointer] = None


JSON = Format(
    name="json",
    about="one JSON document a line or message",
    field='a JSON Pointer, such as "/uv" or "/sensor/uva"',
    example='{"t": 21.5, "uv": 3.2}',
    reader=_reader,
    shape=_shape,
    by_lines=False,
    times=True,
)
