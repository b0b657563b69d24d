"""HTML put together so that a text stays a text: what is not `Safe` is escaped, wherever it goes."""

from __future__ import annotations

from html import escape

EMPTY = frozenset({"br", "hr", "link", "meta"})  # elements that have no end


class Safe(str):
    """Markup; only this module, and what is known to be markup, makes one."""

    __slots__ = ()


def tag(element: str, /, *inside: str, **attributes: str | int | None) -> Safe:
    """An element. `cls` is its class, `_` in a name stands for `-`; an attribute that is None is left out."""
    told = "".join(
        f' {"class" if key == "cls" else key.replace("_", "-")}="{escape(str(value))}"'
        for key, value in attributes.items() if value is not None
    )
    if element in EMPTY:
        return Safe(f"<{element}{told}>")
    return Safe(f"<{element}{told}>{joined(*inside)}</{element}>")


def joined(*inside: str) -> Safe:
    """Elements and texts one after the other."""
    return Safe("".join(part if isinstance(part, Safe) else escape(part) for part in inside))
