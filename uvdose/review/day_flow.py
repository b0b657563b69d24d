"""Pages of a PDF filled from the top: texts that break at blanks, blocks that stay whole, a head that comes again.

All lengths are inches; x from the left edge of the paper, y from its top.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from .day_drawn import Place

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font

PAPERS = {"A4": (210 / 25.4, 297 / 25.4), "Letter": (8.5, 11.0)}
LEFT, RIGHT, TOP, FOOT = 0.87, 0.55, 0.63, 0.71  # margins; the left one is for the nail or the holes of a file
LEADING = 1.32
POINTS = 72.0


class Words(NamedTuple):
    """A text at a place: x, its base line below the block's top, size in points."""

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    right: bool = False


class Stroke(NamedTuple):
    """A line from (x, y) on, or a box if it has a height and a width; dotted: to write on."""

    x: float
    y: float
    width: float
    height: float = 0.0
    line: float = 0.5
    dotted: bool = False


class Block(NamedTuple):
    """What stays together on a page."""

    height: float
    parts: tuple[Words | Stroke, ...] = ()
    draw: Callable[[Figure, Place], None] | None = None


class Flow:
    """Pages of one size, each with a number; `head` is laid out anew at the top of a page while it is set."""

    def __init__(self, paper: str, foot: str) -> None:
        self.width, self.height = PAPERS[paper]
        self.inner = self.width - LEFT - RIGHT
        self.head: Block | None = None
        self._foot = foot
        self._pages: list[list[tuple[float, Block]]] = []
        self._y = self.height

    def add(self, *blocks: Block) -> None:
        """Lay them out one under the other, all on one page if a page holds them."""
        whole = sum(b.height for b in blocks)
        if not self._pages or self._y + whole > self.height - FOOT:
            self._new_page()
        for block in blocks:
            if self._y + block.height > self.height - FOOT and self._pages[-1]:
                self._new_page()
            self._pages[-1].append((self._y, block))
            self._y += block.height

    def room(self) -> float:
        """What is left of the page."""
        return max(0.0, self.height - FOOT - self._y) if self._pages else self.height - TOP - FOOT

    def _new_page(self) -> None:
        self._pages.append([])
        self._y = TOP
        if self.head is not None:
            self._pages[-1].append((self._y, self.head))
            self._y += self.head.height

    def figures(self) -> list[Figure]:
        """The pages, drawn."""
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        found = []
        for number, blocks in enumerate(self._pages, 1):
            fig = Figure(figsize=(self.width, self.height))
            FigureCanvasAgg(fig)
            foot = f"{self._foot}    {number} / {len(self._pages)}"
            end = Block(0, (Words(self.inner, 0.0, foot, 7.5, right=True),))
            self._put(fig, [*blocks, (self.height - FOOT + 0.3, end)])
            found.append(fig)
        return found

    def _put(self, fig: Figure, blocks: list[tuple[float, Block]]) -> None:
        from .day_letters import Letters, put_letters, put_lines

        texts: list[Letters] = []
        lines: list[tuple[list[tuple[float, float]], float, bool]] = []
        for y, block in blocks:
            for part in block.parts:
                x, up = (LEFT + part.x) / self.width, 1 - (y + part.y) / self.height
                if isinstance(part, Words):
                    texts.append(Letters((x, up), part.text, part.size, part.bold, part.right))
                    continue
                to, low = x + part.width / self.width, up - part.height / self.height
                corners = [(x, up), (to, up), (to, low), (x, low), (x, up)] if part.height else [(x, up), (to, up)]
                lines.append((corners, part.line, part.dotted))
            if block.draw is not None:
                block.draw(fig, Place(LEFT, self.height - y - block.height, self.inner, block.height))
        put_letters(fig, texts)
        put_lines(fig, lines)


def line_height(size: float) -> float:
    """From one base line to the next."""
    return size * LEADING / POINTS


def broken(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """The text in lines no wider than this; a word that is wider is broken."""
    lines, here = [], ""
    for word in text.split(" "):
        longer = f"{here} {word}" if here else word
        if text_width(longer, size, bold) <= width:
            here = longer
            continue
        if here:
            lines.append(here)
        here = word
        while text_width(here, size, bold) > width and len(here) > 1:
            most = _fitting(here, width, size, bold)
            lines.append(here[:most])
            here = here[most:]
    return [*lines, here]


def _fitting(word: str, width: float, size: float, bold: bool) -> int:
    """How many letters of a word go into a line, one at least; a letter keeps its accents."""
    low, high = 1, len(word)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if text_width(word[:middle], size, bold) <= width else (low, middle - 1)
    while 1 < low < len(word) and unicodedata.combining(word[low]):
        low -= 1
    return low


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Inches that a text takes in the font of the page, letter by letter: about, and a little too much with kerning."""
    return sum(_advance(letter, bold) for letter in text) * size / POINTS


@cache
def _advance(letter: str, bold: bool) -> float:
    """How far a letter of one point leads, in points."""
    font = _font(bold)
    found = font.get_char_index(ord(letter))
    return float(font.load_glyph(found).linearHoriAdvance) / 65536 / 100 if found else 1.0


@cache
def _font(bold: bool) -> FT2Font:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    font = get_font(findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")))
    font.set_size(100.0, 72)
    return font


def paragraph(
    text: str, x: float, y: float, width: float, size: float, bold: bool = False
) -> tuple[list[Words], float]:
    """A text from y on: its lines, and where it ends."""
    step = line_height(size)
    lines = broken(text, width, size, bold)
    return [Words(x, y + step * (k + 0.78), line, size, bold) for k, line in enumerate(lines)], y + step * len(lines)
