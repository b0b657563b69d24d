"""The form of a line or message, and all numbers in it under the names by which `field` would find them. Pure.

Nothing here decides which number is the light, nor whether a form holds for the next line; see `choice` and `auto`.
"""

from __future__ import annotations

from ..model import Answer, RegisterReading
from .format import ONLY, Line, Shape
from .formats import FORMATS
from .native import NativeDecoder
from .scalars import Unreadable, clean_text


def shape_of(data: bytes, comma: bool = False, header: list[str] | None = None) -> Shape | None:
    """The form of one line or message; None where it has none that is known.

    comma: the decimal mark is a comma. header: the columns' names, out of a header that came before. Never raises.
    """
    if b"uv1," in data or data.startswith((b"ok ", b"err ")):
        found = _native(data)
        if found is not None:
            return found
    line = Line(data, _text(data), comma, header)
    unsure: Shape | None = None
    for one in FORMATS:
        found = one.shape(line)
        if found is not None and found.sure:
            return found
        unsure = unsure or found
    return unsure


def _text(data: bytes) -> str | None:
    try:
        text = clean_text(data)
    except Unreadable:
        return None
    return text if text and not text.startswith("#") else None


def _native(data: bytes) -> Shape | None:
    for item in NativeDecoder().message(data):
        if isinstance(item, RegisterReading):
            return Shape("native", {ONLY: item.level_milli / 1000})
        if isinstance(item, Answer):
            return Shape("native", {ONLY: None})
    return None
