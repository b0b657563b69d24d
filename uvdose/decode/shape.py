"""The form of a line or message, and all numbers in it under the names by which `field` would find them. Pure.

Nothing here decides which number is the light, nor whether a form holds for the next line; see `choice` and `auto`.
"""

from __future__ import annotations

import re

import msgspec

from ..model import Answer, RegisterReading
from .json_form import parse_document
from .line_protocol import Point, parse_point, value_of
from .native import NativeDecoder
from .scalars import Unreadable, clean_text, means_nothing, number, scalar
from .senml import resolve_pack
from .table import NAMED_CELL, is_word, split_row
from .text import UNIT_BEHIND_NUMBER, labelled

MOST_FIELDS = 64
DEEPEST = 8
ONLY = ""
"""The name of a number that stands alone: `field` is left out for it."""

# A time or a tag before a label: `[00012] uv: 3.1`, `10:15:03 uv: 3.1`. The reader of labels finds the end of one.
_STAMP = re.compile(r"^(?:[\[(<][^\])>]*[\])>]|[0-9][0-9:.]*)\s+")


class Shape(msgspec.Struct, frozen=True):
    """fields: the numbers by name; None where there is a place for one and none in it, such as `nan`.

    units: of the fields that name theirs. stamped: it carries a time of its own. header: this line names columns.
    """

    form: str
    fields: dict[str, float | None]
    units: dict[str, str] = {}
    stamped: bool = False
    header: bool = False


def shape_of(data: bytes, comma: bool = False, header: list[str] | None = None) -> Shape | None:
    """The form of one line or message; None where it has none that is known.

    comma: the decimal mark is a comma. header: the columns' names, out of a header that came before. Never raises.
    """
    if b"uv1," in data or data.startswith((b"ok ", b"err ")):
        found = _native(data)
        if found is not None:
            return found
    try:
        text = data.strip().removeprefix(b"\xef\xbb\xbf")
        if text[:1] in (b"{", b"[") or b"\x1b" in text[:1]:
            document = _document(data)
            if document is not None:
                return document
        line = clean_text(data)
        return _shaped(line, comma, header) if line and not line.startswith("#") else None
    except Unreadable:
        return None


def _native(data: bytes) -> Shape | None:
    for item in NativeDecoder().message(data):
        if isinstance(item, RegisterReading):
            return Shape("native", {ONLY: item.level_milli / 1000})
        if isinstance(item, Answer):
            return Shape("native", {ONLY: None})
    return None


def _document(data: bytes) -> Shape | None:
    try:
        document = parse_document(data)
    except Unreadable:
        return None
    try:
        records = resolve_pack(document)
        units = {r.name: r.unit for r in records if r.unit is not None}
        if records:
            return Shape("senml", {r.name: r.value for r in records}, units, stamped=True)
    except Unreadable:
        pass
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


def _shaped(text: str, comma: bool, header: list[str] | None) -> Shape | None:
    try:
        return Shape("number", {ONLY: None if means_nothing(text) else number(text, comma)})
    except Unreadable:
        pass
    point = _point(text)
    if point is not None and (point.tags or point.stamped):
        return _of_point(point)
    labels = _labels(text, comma)
    if labels:
        return Shape("label", *labels)
    if point is not None:
        return _of_point(point)
    return _row(text, comma, header)


def _point(text: str) -> Point | None:
    try:
        return parse_point(text)
    except Unreadable:
        return None


def _of_point(point: Point) -> Shape | None:
    fields: dict[str, float | None] = {}
    for name, raw in point.fields.items():
        try:
            fields[_escaped(name)] = value_of(raw)
        except Unreadable:
            if means_nothing(raw) and raw.casefold() not in ("true", "false"):
                fields[_escaped(name)] = None
    return Shape("line-protocol", fields, stamped=point.stamped) if fields else None


def _escaped(name: str) -> str:
    return re.sub(r"([ ,=])", r"\\\1", name)


def _labels(text: str, comma: bool) -> tuple[dict[str, float | None], dict[str, str]] | None:
    fields: dict[str, float | None] = {}
    units: dict[str, str] = {}
    for label, raw in labelled(text, comma):
        label = _STAMP.sub("", label)
        plain = UNIT_BEHIND_NUMBER.sub("", raw)
        if not label or not (label[0].isalpha() or label[0] == "_") or len(label) > 40:
            continue
        try:
            fields[label] = None if means_nothing(plain) else number(plain, comma)
        except Unreadable:
            continue
        told = raw[len(plain) :] or _unit_behind(text, label, raw)
        if told:
            units[label] = told
    return (fields, units) if fields else None


def _unit_behind(text: str, label: str, raw: str) -> str:
    """The word after a value, where it may be its unit."""
    found = re.search(rf"{re.escape(label)}\s*[:=]\s*{re.escape(raw)} +([^\s,;|0-9]\S*)", text)
    return found[1] if found else ""


def _row(text: str, comma: bool, header: list[str] | None) -> Shape | None:
    cells, separator = split_row(text, comma)
    if cells and not cells[-1]:
        cells = cells[:-1]
    if not cells or any(NAMED_CELL.fullmatch(cell) for cell in cells):
        return None
    if all(cell and is_word(cell) for cell in cells):
        if separator == " ":
            return None  # chatter: no header that a table reader would take
        return Shape("csv", {}, header=True)
    names = header if header is not None and len(header) == len(cells) else [str(i) for i in range(1, len(cells) + 1)]
    fields: dict[str, float | None] = {}
    for name, cell in zip(names, cells, strict=True):
        try:
            fields[name] = None if means_nothing(cell) else number(cell, comma)
        except Unreadable:
            continue
    # Half of it must be numbers, else it is a sentence with a number in it.
    return Shape("csv", fields) if len(fields) * 2 > len(cells) else None
