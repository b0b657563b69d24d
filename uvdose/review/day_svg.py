"""A drawing as SVG that may stand within a page: no id twice, nothing of its own styles, no date.

matplotlib writes inline styles, which a strict page does not let in; as attributes they are the same.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from .day_drawn import Place, drawing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SVG, XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"
_REFERENCE = re.compile(r"url\(#([^)]*)\)")
_FONT = re.compile(r"(?:(\d+) )?([\d.]+)px .*")
NO_DATE = {"Date": None, "Creator": None, "Format": None, "Type": None}

Draw = Callable[["Figure", Place], None]


def inline_svg(name: str, width: float, height: float, told: str, draw: Draw) -> str:
    """Draw it, so many inches wide and high; name: begins its ids. told: what it shows, for who cannot see it."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    raw = BytesIO()
    with drawing():
        fig = Figure(figsize=(width, height))
        FigureCanvasAgg(fig)
        fig.patch.set_visible(False)
        draw(fig, Place(0.0, 0.0, width, height))
        fig.savefig(raw, format="svg", metadata=NO_DATE)
    root = ET.fromstring(raw.getvalue())
    _clean(root, name)
    root.attrib = {
        "viewBox": root.attrib["viewBox"], "role": "img", "aria-label": told, "stroke-linejoin": "round",
        "stroke-linecap": "butt",
    }  # fmt: skip
    ET.register_namespace("", SVG[1:-1])
    text = ET.tostring(root, encoding="unicode", short_empty_elements=False)
    return re.sub(r"\s*\n\s*", "\n", text.replace(f' xmlns="{SVG[1:-1]}"', "", 1))


def _clean(root: ET.Element, name: str) -> None:
    used = {i for e in root.iter() for v in e.attrib.values() for i in _REFERENCE.findall(v)}
    used |= {e.attrib[XLINK + "href"][1:] for e in root.iter() if XLINK + "href" in e.attrib}
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (SVG + "metadata", SVG + "style"):
                parent.remove(child)
    for element in root.iter():
        attributes = element.attrib
        for key, value in _styles(attributes.pop("style", "")):
            attributes[key] = value
        own = attributes.pop("id", None)
        if own in used:
            attributes["id"] = f"{name}-{own}"
        if XLINK + "href" in attributes:
            attributes["href"] = f"#{name}-{attributes.pop(XLINK + 'href')[1:]}"
        for key, value in attributes.items():
            attributes[key] = _REFERENCE.sub(rf"url(#{name}-\1)", value)


def _styles(text: str) -> list[tuple[str, str]]:
    """The declarations of an inline style as attributes. The font's family is the page's own."""
    found = []
    for part in text.split(";"):
        key, colon, value = part.partition(":")
        key, value = key.strip(), value.strip()
        if not colon or key == "font-family":
            continue
        if key == "font":
            shorthand = _FONT.fullmatch(value)
            if shorthand is not None:
                found += [("font-size", shorthand[2])]
                found += [("font-weight", shorthand[1])] if shorthand[1] else []
            continue
        found.append((key, value.removesuffix("px") if key == "font-size" else value))
    return found
