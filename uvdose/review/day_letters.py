"""All words and strokes of a page of a PDF as few drawings. Imported when one is made: it needs matplotlib."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, NamedTuple

from matplotlib.artist import Artist
from matplotlib.collections import LineCollection
from matplotlib.font_manager import FontProperties

from .day_drawn import FAINT, INK

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Point = tuple[float, float]


class Letters(NamedTuple):
    """A text of one line; at in shares of the figure: where it begins, or ends if it stands right, on its base line."""

    at: Point
    text: str
    size: float
    bold: bool
    right: bool


class Lettering(Artist):
    """Texts of one line each, handed to the renderer as they are: an artist for each takes three times as long, most of
    it for where its box may lie and how it is turned."""

    def __init__(self, texts: list[Letters]) -> None:
        super().__init__()
        self._texts = texts
        self._fonts: dict[tuple[float, bool], FontProperties] = {}

    def draw(self, renderer: Any) -> None:
        """Put all of them down."""
        gc = renderer.new_gc()
        gc.set_foreground(INK)
        for at, text, size, bold, right in self._texts:
            font = self._font(size, bold)
            x, y = self.get_transform().transform(at)
            if right:
                x -= renderer.get_text_width_height_descent(text, font, ismath=False)[0]
            renderer.draw_text(gc, x, y, text, font, 0)
        gc.restore()

    def _font(self, size: float, bold: bool) -> FontProperties:
        if (size, bold) not in self._fonts:
            self._fonts[size, bold] = FontProperties(size=size, weight="bold" if bold else "normal")
        return self._fonts[size, bold]


def put_letters(fig: Figure, texts: list[Letters]) -> None:
    """The texts of a page."""
    fig.add_artist(Lettering([each for each in texts if each.text]))


def put_lines(fig: Figure, lines: list[tuple[list[Point], float, bool]]) -> None:
    """Strokes of a page, corners in shares of it, each with its width in points, and whether it is dotted."""
    alike: dict[tuple[float, bool], list[list[Point]]] = defaultdict(list)
    for corners, width, dotted in lines:
        alike[width, dotted].append(corners)
    for (width, dotted), found in alike.items():
        fig.add_artist(LineCollection(found, linewidths=width, colors=FAINT if dotted else INK,
                                      linestyles=":" if dotted else "-", transform=fig.transFigure))  # fmt: skip
