"""JSON Pointer (RFC 6901): a path to one value inside a JSON document."""

from __future__ import annotations

import re

from .scalars import Unreadable

_BAD_ESCAPE = re.compile(r"~(?![01])")
_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")  # no array that is read here has more than 10^9 items

Pointer = tuple[str, ...]
"""The reference tokens, unescaped."""


def parse_pointer(text: str) -> Pointer:
    """The tokens of a pointer; the empty pointer is the whole document. Raises ValueError (RFC 6901, section 3)."""
    if text and not text.startswith("/"):
        raise ValueError("a JSON Pointer begins with /")
    if _BAD_ESCAPE.search(text):
        raise ValueError("in a JSON Pointer ~ must be written ~0, and / inside a name ~1")
    # ~1 first: "~01" stands for "~1", not for "/" (RFC 6901, section 4).
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text.split("/")[1:])


def resolve(document: object, pointer: Pointer) -> object:
    """The value a pointer leads to. Raises `Unreadable` where it leads nowhere."""
    value = document
    for token in pointer:
        if isinstance(value, dict):
            if token not in value:
                raise Unreadable("field not here")
            value = value[token]
        elif isinstance(value, list):
            if not _INDEX.fullmatch(token) or int(token) >= len(value):
                raise Unreadable("field not here")
            value = value[int(token)]
        else:
            raise Unreadable("field not here")
    return value
