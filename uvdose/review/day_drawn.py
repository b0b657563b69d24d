"""What all drawings of a day have in common: places in inches, the ink, axes, strokes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, FAINT, PALE = "#111111", "#777777", "#dddddd"
SMALL, SMALLER = 8.0, 7.0


class Place(NamedTuple):
    """A stretch of a page in inches, from its lower left corner."""

    left: float
    foot: float
    width: float
    height: float


@contextmanager
def drawing() -> Iterator[None]:
    """How all of it is drawn: texts as they are, never as formulas; the same ids on every run."""
    import warnings

    import matplotlib as mpl

    style: Any = {
        "font.family": "sans-serif", "font.sans-serif": ["DejaVu Sans"], "font.size": SMALL, "text.parse_math": False,
        "svg.fonttype": "none", "svg.hashsalt": "uvdose", "pdf.fonttype": 42, "axes.edgecolor": FAINT,
        "axes.linewidth": 0.6, "xtick.color": FAINT, "ytick.color": FAINT, "xtick.labelcolor": INK,
        "ytick.labelcolor": INK, "hatch.linewidth": 0.5, "hatch.color": FAINT, "text.color": INK,
        "axes.unicode_minus": True,
    }  # fmt: skip
    with mpl.rc_context(style), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # a sign that the font lacks is drawn as a box
        yield


def apart(ends: Iterable[tuple[float, float]]) -> tuple[list[float], list[float]]:
    """Strokes, two ends each, as one line that breaks between them: six hundred lines take seconds to draw."""
    xs: list[float] = []
    ys: list[float] = []
    for number, (x, y) in enumerate(ends):
        if number and number % 2 == 0:
            xs.append(math.nan)
            ys.append(math.nan)
        xs.append(x)
        ys.append(y)
    return xs, ys


def axes(fig: Figure, at: Place) -> Axes:
    """Axes at a place of a figure, its frame left and below."""
    width, height = fig.get_size_inches()
    ax = fig.add_axes((at.left / width, at.foot / height, at.width / width, at.height / height))
    bare(ax)
    ax.patch.set_visible(False)
    ax.tick_params(labelsize=SMALLER, length=2.5, width=0.6, pad=2)
    return ax


def bare(ax: Axes) -> None:
    """No frame above and at the right."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
