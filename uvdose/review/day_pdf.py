"""A day as a PDF for the wall: the same words and charts as the HTML page, on A4 or Letter."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from .day import Day
from .day_charts import draw_light, draw_spread, draw_stops, light_height, spread_height, stops_height
from .day_curve import Curve
from .day_drawn import drawing
from .day_flow import Block, Flow, Stroke, Words, line_height, paragraph, text_width
from .day_lines import head_of_lines, line_of
from .day_words import (
    DOTS,
    KEY,
    LIGHT_HEADS,
    LINES,
    MOST_WHOLE,
    STROKES,
    Row,
    closing,
    light_rows,
    plain,
    rows,
    sensor_lines,
    sentences,
    summary,
    target_lines,
    weekday_and_day,
)

DATE_PT, TITLE_PT, BODY_PT, SMALL_PT, NUMBER_PT = 33.0, 11.0, 8.5, 7.0, 13.0
NO_LIST = 0.46  # where the words of a row begin
WHAT, DOSE, STOPS, BOXES = 2.3, 1.75, 0.52, 0.95  # widths; what is left is for the pencil
BOX, BOX_STEP, RULE_STEP = 0.125, 0.19, 0.26
REMARKS, REMARK_STEP = 6, 0.32


def pdf(day: Day, curves: list[Curve], bench: str, paper: str) -> bytes:
    """The file. The same day gives the same bytes, with the same version of matplotlib."""
    from matplotlib.backends.backend_pdf import PdfPages

    out = BytesIO()
    with drawing():
        flow = Flow(paper, f"{plain(bench)}, {day.date}")
        _fill(flow, day, curves, bench)
        told = {"Title": f"{day.date} {plain(bench)}", "CreationDate": None, "ModDate": None}
        with PdfPages(out, metadata=told) as pages:
            for fig in flow.figures():
                pages.savefig(fig)
    return out.getvalue()


def _fill(flow: Flow, day: Day, curves: list[Curve], bench: str) -> None:
    flow.add(_top(flow.inner, day, bench))
    height = light_height(day, curves)
    if height:
        flow.add(_title("Light and prints"), Block(height, draw=lambda fig, at: draw_light(fig, at, day, curves)),
                 _small(KEY, flow.inner))  # fmt: skip
    waiting, others = rows(day)
    whole = len(waiting) + len(others) <= MOST_WHOLE
    _prints(flow, "Waiting for a verdict", waiting, whole)
    _prints(flow, "Other prints" if waiting else "Prints", others, whole)
    height = stops_height(day)
    if height:
        flow.add(_title("Dose against target"), Block(height, draw=lambda fig, at: draw_stops(fig, at, day)),
                 _small(DOTS, flow.inner))  # fmt: skip
    height = spread_height(day)
    if height:
        flow.add(_title("Spread"), Block(height, draw=lambda fig, at: draw_spread(fig, at, day)),
                 _small(STROKES, flow.inner))  # fmt: skip
    if day.sensors:
        flow.add(_title("Sensors"), _table([LIGHT_HEADS, *light_rows(day)], flow.inner),
                 *(_small(line, flow.inner) for line in sensor_lines(day)))  # fmt: skip
    changed = target_lines(day)
    if changed:
        flow.add(_title("Targets changed"), *(_text(line, flow.inner) for line in changed))
    end, title = _small(closing(day), flow.inner), _title("Remarks")
    lines = min(REMARKS, int((flow.room() - title.height - end.height - 0.15) / REMARK_STEP))
    if lines > 1:  # a page of its own they are not worth: each print has lines to write on
        rules = [Stroke(0, REMARK_STEP * (k + 1), flow.inner, dotted=True) for k in range(lines)]
        flow.add(title, Block(REMARK_STEP * lines + 0.15, tuple(rules)))
    flow.add(end)


def _top(inner: float, day: Day, bench: str) -> Block:
    weekday, date = weekday_and_day(day.date)
    parts: list[Words | Stroke] = [
        Words(0, 0.14, weekday, TITLE_PT), Words(inner, 0.14, plain(bench), TITLE_PT, bold=True, right=True),
        Words(-0.02, 0.62, date, DATE_PT, bold=True),
    ]  # fmt: skip
    told, y = paragraph(sentences(summary(day)), 0, 0.76, inner, BODY_PT)
    return Block(y + 0.2, (*parts, *told, Stroke(0, y + 0.1, inner, line=2.2)))


def _title(text: str) -> Block:
    return Block(0.4, (Words(0, 0.3, text, TITLE_PT, bold=True),))


def _small(text: str, inner: float) -> Block:
    words, y = paragraph(text, 0, 0.02, inner, SMALL_PT)
    return Block(y, tuple(words))


def _text(text: str, inner: float) -> Block:
    words, y = paragraph(text, 0, 0.0, inner, BODY_PT)
    return Block(y, tuple(words))


# -- prints --------------------------------------------------------------------------------------------------------


def _prints(flow: Flow, title: str, found: list[Row], whole: bool) -> None:
    if not found:
        return
    blocks = [(_print if whole else line_of)(row, flow.inner) for row in found]
    head = (_head if whole else head_of_lines)(flow.inner)
    said = [] if whole else [_small(LINES, flow.inner)]
    flow.add(_title(title), *said, head, blocks[0])
    flow.head = head
    for block in blocks[1:]:
        flow.add(block)
    flow.head = None


def _edges() -> tuple[float, float, float, float]:
    """Where dose and stops end, and boxes and pencil begin."""
    dose = NO_LIST + WHAT + DOSE
    return dose, dose + STOPS, dose + STOPS + 0.14, dose + STOPS + BOXES


def _head(inner: float) -> Block:
    dose, stops, boxes, pencil = _edges()
    return Block(0.23, (
        Words(0, 0.15, "no.", SMALL_PT), Words(NO_LIST, 0.15, "print, target", SMALL_PT),
        Words(dose, 0.15, "dose asked, given", SMALL_PT, right=True), Words(stops, 0.15, "stops", SMALL_PT, right=True),
        Words(boxes, 0.15, "verdict", SMALL_PT), Words(pencil, 0.15, "pencil", SMALL_PT),
        Stroke(0, 0.2, inner, line=0.8),
    ))  # fmt: skip


def _print(row: Row, inner: float) -> Block:
    """One print: what it is, its doses, boxes to tick and lines to write on; it stays on one page."""
    dose, stops, boxes, pencil = _edges()
    first = 0.08 + line_height(BODY_PT) * 0.78
    parts: list[Words | Stroke] = [Words(0, 0.23, str(row.number), NUMBER_PT, bold=True)]
    y = 0.08
    for text, size, bold in (
        (row.label, BODY_PT, True), (row.target, BODY_PT, False),
        (", ".join(part for part in (f"frame {row.frame}", row.noted) if part), SMALL_PT, False),
    ):  # fmt: skip
        if text:
            words, y = paragraph(text, NO_LIST, y, WHAT, size, bold)
            parts += words
    parts.append(Words(dose, first, row.dose, BODY_PT, bold=True, right=True))
    before = dose - text_width(row.dose, BODY_PT, bold=True) - 0.05
    parts.append(Words(before, first, f"{row.asked} →", BODY_PT, right=True))
    parts.append(Words(dose, first + line_height(BODY_PT), row.interval, SMALL_PT, right=True))
    parts.append(Words(stops, first, row.stops, BODY_PT, bold=True, right=True))
    for k, words_of_box in enumerate(row.boxes):
        at = 0.09 + BOX_STEP * k
        parts += [Stroke(boxes, at, BOX, BOX, 0.9), Words(boxes + BOX + 0.06, at + BOX - 0.02, words_of_box, BODY_PT)]
    said, y_said = paragraph(row.verdict, boxes, 0.08, BOXES - 0.24, BODY_PT)
    y = max(y, y_said, 0.09 + BOX_STEP * len(row.boxes), first + line_height(BODY_PT)) + 0.03
    told, y = paragraph(sentences(row.story), NO_LIST, y, pencil - NO_LIST - 0.15, SMALL_PT)
    parts += [*said, *told]
    for text in row.care:
        words, y = paragraph(f"! {text}", NO_LIST, y, pencil - NO_LIST - 0.15, SMALL_PT, bold=True)
        parts += words
    y += 0.09
    lines = max(1, int((y - 0.02) / RULE_STEP))
    parts += [Stroke(pencil, y - RULE_STEP * k, inner - pencil, dotted=True) for k in range(1, lines)]
    parts.append(Stroke(0, y, inner, line=0.4))
    return Block(y, tuple(parts))


def _table(lines: Sequence[Sequence[str]], inner: float) -> Block:
    """A table of sensors; a name that is too long for it loses its end."""
    parts: list[Words | Stroke] = [Stroke(0, line_height(SMALL_PT) + 0.05, inner, line=0.8)]
    widths = [max(text_width(line[k], BODY_PT) for line in lines) for k in range(len(lines[0]))]
    widths[0] = min(widths[0], 1.3)
    gap = max(0.1, (inner - sum(widths)) / max(1, len(widths) - 1))
    step = line_height(BODY_PT) * 1.1
    for number, line in enumerate(lines):
        x = 0.0
        for k, cell in enumerate(line):
            y = 0.13 if not number else 0.13 + 0.09 + step * number - 0.02
            size = BODY_PT if number else SMALL_PT
            shown = paragraph(cell, x, 0, widths[k], size)[0][0].text if k == 0 else cell
            right = 0 < k < 5
            parts.append(Words(x + (widths[k] if right else 0), y, shown, size, right=right))
            x += widths[k] + gap
    return Block(0.3 + step * (len(lines) - 1), tuple(parts))
