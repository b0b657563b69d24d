"""What to set where a sensor's lines cannot be read: told from the form of a line that came. Pure."""

from __future__ import annotations

import json
import re

from .choice import choose
from .formats import NAMES
from .scalars import VALUELESS, Unreadable, number
from .shape import shape_of

SHOWN = 60
_GARBLED_SHARE = 0.2
_ESCAPED = re.compile(r"\\x[0-9a-f]{2}|\\u[0-9a-f]{4}|\\[nrt]")
_KEY = re.compile(r'"([^"\\]{1,40})"\s*:\s*"?[-+]?[0-9]')
_LABEL = re.compile(r"\s*([^\W\d][^:=,;]{0,39}?)\s*[:=]\s*[-+.]?[0-9]")
_COMMA = re.compile(r"[0-9],[0-9]")
_PARTED = re.compile(r"[;,\t]|\s")
_FORMATS = f"{', '.join(NAMES[:-2])} or {NAMES[-2]}; `uvdose sensor find` tells which"
_CUT_SHORT = ("label", "csv", "number")  # looked at below in ways that a cut line and a wrong decimal mark pass, too


def shown(excerpt: str) -> str:
    """An excerpt of what came, in quotes, cut to `SHOWN` characters."""
    return f"'{excerpt}'" if len(excerpt) <= SHOWN else f"'{excerpt[: SHOWN - 1]}…'"


def what_to_set(form: str, reason: str, excerpt: str) -> str:
    """What to set in the settings of a sensor of format `form` that sent this; it ends no sentence."""
    text = excerpt.strip()
    if reason in VALUELESS:
        return "the board speaks, but has no value of its sensor: look at the sensor's wiring"
    garbled = "".join(_ESCAPED.findall(text))
    if len(garbled) > _GARBLED_SHARE * len(text):
        return "set `baud` to the speed at which the board sends"
    if reason == "checksum":
        return f"the lines come damaged ({reason}): check the cable, and `baud` against the board's speed"
    if form == "auto":
        return "`uvdose sensor find` shows what comes, and what to set"
    looks, how = _form_of(text)
    if looks == "native":
        return 'set format = "native"' if form != "native" else (
            f"the lines come damaged ({reason}): check the cable, and `baud` against the board's speed"
        )
    if looks and looks != form:
        return f'set format = "{looks}"{how}'
    if form == "native":
        return f"this board does not send the native line; set `format` to what it sends ({_FORMATS})"
    if looks == "number":
        return "set decimal_comma = true" if how else "check `decimal_comma`"
    if looks == "label" and reason == "not a number" and _COMMA.search(text):
        return "set decimal_comma = true"
    if looks:
        return f"check{how.removeprefix(' and').replace(' = ', ', perhaps ', 1) or ' field'}"
    return f"set `format` to what the board sends ({_FORMATS})"


def _form_of(text: str) -> tuple[str, str]:
    """The format that a line has, empty where none is seen, and what else is to be set for it."""
    if text.startswith("uv1,"):
        return "native", ""
    if text.startswith("[") and '"n"' in text + '"bn"':
        return "senml", ""
    if text.startswith("{"):
        key = _KEY.search(text)
        pointer = "/" + key[1].replace("~", "~0").replace("/", "~1") if key else "/uv"
        return "json", f" and field = {json.dumps(pointer, ensure_ascii=False)}"
    for comma in (False, True):
        try:
            number(text, comma)
        except Unreadable:
            continue
        return "number", " and decimal_comma = true" if comma else ""
    shape = shape_of(text.encode())
    if shape is not None and shape.sure and shape.form not in _CUT_SHORT:
        told = [name for name, value in shape.fields.items() if value is not None]
        name = choose([shape]).name or next(iter(told), "")
        return shape.form, f" and field = {json.dumps(name, ensure_ascii=False)}" if name else ""
    label = _LABEL.match(text)
    if label:
        return "label", f' and field = "{label[1]}"'
    cells = [cell for cell in _PARTED.split(text) if cell]
    if len(cells) > 1 and sum(map(_is_number, cells)) > len(cells) / 2:
        return "csv", ' and field = "1" (the number of the column)'
    return "", ""


def _is_number(cell: str) -> bool:
    try:
        number(cell)
    except Unreadable:
        return False
    return True
