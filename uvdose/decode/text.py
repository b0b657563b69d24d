"""Two forms of plain text: a bare number on a line, and labels with values such as `UV Index: 1.84`."""

from __future__ import annotations

import re

from ..model import Decoded, MomentReading
from .format import ONLY, Format, Line, Shape, Wanted
from .forms import Reader
from .scalars import Unreadable, clean_text, means_nothing, number

_UNIT_AT_END = re.compile(r"\s*[(\[][^()\[\]]*[)\]]$")
# Where the decimal mark is a comma, only blanks, ; and | can end a value.
_BEHIND = {True: re.compile(r"[:=]\s*([^\s;|]+)"), False: re.compile(r"[:=]\s*((?:[^\s,;|]|(?<=[0-9]),(?=[0-9]))+)")}
_BEFORE_LABEL = re.compile(r"[;|,]|(?:^|\s)/\s")
_UNIT_BEHIND_NUMBER = re.compile(r"(?<=[0-9.,])(?:[mu\u00b5\u03bc]?(?:W|V)|nA|uA|counts|cts)\S*$")
# A time or a tag before a label: `[00012] uv: 3.1`, `10:15:03 uv: 3.1`. The reader of labels finds the end of one.
_STAMP = re.compile(r"^(?:[\[(<][^\])>]*[\])>]|[0-9][0-9:.]*)\s+")


def label_key(label: str) -> str:
    """A label in the one form in which labels are compared: case and runs of blanks do not count."""
    return " ".join(label.casefold().split())


def same_label(found: str, wanted_key: str) -> bool:
    """Whether a label found is the wanted one; a unit in brackets behind it may be left out."""
    key = label_key(found)
    return wanted_key in (key, _UNIT_AT_END.sub("", key))


def _number_reader(comma: bool) -> Reader:
    """Reads a line that is one number and nothing else. comma: its decimal mark is a comma."""

    def read(line: bytes) -> list[Decoded]:
        return [MomentReading(number(clean_text(line), comma))]

    return read


def _label_reader(label: str | None, comma: bool) -> Reader:
    """Reads the number behind a label and `:` or `=`; a line may hold several labels.

    The label must be a whole one, else the end of exactly one (`UV` in `sill UV: 3`). Without `label` the line
    must hold exactly one labelled value. A line without the label is bad input, so that a wrong setting is seen.
    """
    wanted = None if label is None else label_key(label)

    def read(line: bytes) -> list[Decoded]:
        value = _pick(_labelled(clean_text(line), comma), wanted)
        return [MomentReading(number(_UNIT_BEHIND_NUMBER.sub("", value), comma))]

    return read


def _labelled(text: str, comma: bool) -> list[tuple[str, str]]:
    """The labels of a line, each with what stands behind its `:` or `=`, as written.

    Where a comma stands between two digits and the decimal mark is a point, both stay: `UV: 1,84` is not read as 1.
    """
    pairs: list[tuple[str, str]] = []
    end = 0
    for hit in _BEHIND[comma].finditer(text):
        pairs.append((_BEFORE_LABEL.split(text[end : hit.start()])[-1].strip(), hit[1].rstrip(",")))
        end = hit.end()
    return pairs


def _pick(pairs: list[tuple[str, str]], wanted: str | None) -> str:
    if not pairs:
        raise Unreadable("no labelled value")
    if wanted is None:
        hits = [value for _, value in pairs]
    else:
        hits = [value for label, value in pairs if same_label(label, wanted)]
        if not hits:
            hits = [value for label, value in pairs if _ends_with_label(label, wanted)]
    if not hits:
        raise Unreadable("label not here")
    if len(hits) > 1:
        raise Unreadable("several values; set field to one label")
    return hits[0]


def _ends_with_label(label: str, wanted: str) -> bool:
    key = label_key(label)
    return key.endswith(" " + wanted) or _UNIT_AT_END.sub("", key).endswith(" " + wanted)


def _number_shape(line: Line) -> Shape | None:
    if line.text is None:
        return None
    try:
        return Shape("number", {ONLY: None if means_nothing(line.text) else number(line.text, line.comma)})
    except Unreadable:
        return None


def _label_shape(line: Line) -> Shape | None:
    text = line.text or ""
    fields: dict[str, float | None] = {}
    units: dict[str, str] = {}
    for label, raw in _labelled(text, line.comma):
        label = _STAMP.sub("", label)
        plain = _UNIT_BEHIND_NUMBER.sub("", raw)
        if not label or not (label[0].isalpha() or label[0] == "_") or len(label) > 40:
            continue
        try:
            fields[label] = None if means_nothing(plain) else number(plain, line.comma)
        except Unreadable:
            continue
        told = raw[len(plain) :] or _unit_behind(text, label, raw)
        if told:
            units[label] = told
    return Shape("label", fields, units) if fields else None


def _unit_behind(text: str, label: str, raw: str) -> str:
    """The word after a value, where it may be its unit."""
    found = re.search(rf"{re.escape(label)}\s*[:=]\s*{re.escape(raw)} +([^\s,;|0-9]\S*)", text)
    return found[1] if found else ""


def _read_number(wanted: Wanted) -> Reader:
    return _number_reader(wanted.comma)


def _read_label(wanted: Wanted) -> Reader:
    return _label_reader(wanted.field, wanted.comma)


NUMBER = Format(
    name="number", about="a bare number on each line", field="left out", example="3.42",
    reader=_read_number, shape=_number_shape,
)  # fmt: skip
LABEL = Format(
    name="label", about="labels with values behind `:` or `=`", field="the label", example="T: 21.5, UV: 3.42",
    reader=_read_label, shape=_label_shape,
)  # fmt: skip
