"""Prints of a full day in a PDF, a line each: what fits beside the number, boxes to tick, a line for the pencil."""

from __future__ import annotations

from .day_flow import Block, Stroke, Words, broken, line_height, paragraph
from .day_words import TICKS, Row
from .layout import shorten, shorten_title

NUMBER_PT, BODY_PT, SMALL_PT = 9.5, 8.0, 7.0
WHAT, BEGUN, LIGHT, DOSE, STOPS, BOXES = 0.44, 2.32, 3.30, 4.70, 5.14, 5.28  # LIGHT, DOSE and STOPS end there
BOX, BOX_STEP, PENCIL = 0.125, 0.31, 6.2
STEP, BASE = 0.27, 0.185


def head_of_lines(inner: float) -> Block:
    """The head of each page."""
    parts = [
        Words(0, 0.15, "no.", SMALL_PT), Words(WHAT, 0.15, "label, target, frame", SMALL_PT),
        Words(BEGUN, 0.15, "begun", SMALL_PT), Words(LIGHT, 0.15, "in light", SMALL_PT, right=True),
        Words(DOSE, 0.15, "dose asked, given", SMALL_PT, right=True), Words(STOPS, 0.15, "stops", SMALL_PT, right=True),
        *(Words(BOXES + BOX_STEP * k - 0.04, 0.15, tick, SMALL_PT) for k, tick in enumerate(TICKS)),
        Words(PENCIL, 0.15, "pencil", SMALL_PT),
    ]  # fmt: skip
    return Block(0.23, (*parts, Stroke(0, 0.2, inner, line=0.8)))


def line_of(row: Row, inner: float) -> Block:
    """One print. What wants care stands beneath it, and a verdict in place of boxes and pencil."""
    asked = f"{row.asked} → {row.dose}"
    parts: list[Words | Stroke] = [
        Words(0, BASE, str(row.number), NUMBER_PT, bold=True),
        Words(WHAT, BASE, _what(row, BEGUN - WHAT - 0.08), BODY_PT),
        Words(BEGUN, BASE, fitted(row.begun, 0.66, SMALL_PT), SMALL_PT),
        Words(LIGHT, BASE, row.light, SMALL_PT, right=True),
        Words(DOSE, BASE, fitted(asked, DOSE - LIGHT - 0.06, BODY_PT), BODY_PT, right=True),
        Words(STOPS, BASE, row.stops, BODY_PT, bold=True, right=True),
    ]
    y = STEP
    if row.verdict:
        said, end = paragraph(row.verdict, BOXES, BASE - line_height(SMALL_PT) * 0.78, inner - BOXES, SMALL_PT)
        parts += said
        y = max(y, end + 0.06)
    else:
        parts += [Stroke(BOXES + BOX_STEP * k, BASE - BOX + 0.01, BOX, BOX, 0.9) for k, _ in enumerate(row.boxes)]
        parts.append(Stroke(PENCIL, BASE + 0.03, inner - PENCIL, dotted=True))
    if row.care:
        told = "   ".join(f"! {text}" for text in row.care)
        words, y = paragraph(told, WHAT, y - 0.03, inner - WHAT, SMALL_PT, bold=True)
        parts += words
        y += 0.06
    return Block(y, (*parts, Stroke(0, y, inner, line=0.4)))


def _what(row: Row, width: float) -> str:
    """Label, target and frame; where they are too long the label and the target lose their ends first."""
    frame = f"frame {row.frame}" if len(row.frame) < 3 else row.frame
    whole, short = (
        ", ".join(part for part in parts if part)
        for parts in ((row.label, row.target, frame), (shorten(row.label, 10), shorten_title(row.target, 12), frame))
    )
    return whole if fitted(whole, width, BODY_PT) == whole else fitted(short, width, BODY_PT)


def fitted(text: str, width: float, size: float) -> str:
    """As much of a text as goes into a line."""
    lines = broken(text, width, size)
    if len(lines) == 1:
        return text
    while lines[0] and len(broken(f"{lines[0]}…", width, size)) > 1:
        lines[0] = lines[0][:-1]
    return f"{lines[0]}…"
