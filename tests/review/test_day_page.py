"""A day as a page: valid, whole in itself, every text a text, the same bytes each time, readable without colours.

Validity is judged by html5lib's strict parser, which follows the parsing rules of the HTML standard and stops at the
first parse error that it names; the PDF is read back by pypdf.
"""

from __future__ import annotations

import io
import math
import re
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import html5lib
import msgspec
import pypdf
import pytest
from matplotlib.figure import Figure

from uvdose.exposure.states import Act
from uvdose.notes import Verdict
from uvdose.review.day import Day
from uvdose.review.day_charts import draw_light, draw_stops, light_height, stops_height
from uvdose.review.day_curve import Curve, curves
from uvdose.review.day_drawn import Place, apart, drawing
from uvdose.review.day_flow import FOOT, PAPERS, RIGHT, Flow, Stroke, Words, broken, text_width
from uvdose.review.day_flow import LEFT as MARGIN
from uvdose.review.day_lines import BASE, line_of
from uvdose.review.day_page import page
from uvdose.review.day_pdf import _fill, pdf
from uvdose.review.day_words import LINES, MOST_LABEL, MOST_WHOLE, rows, sentences, weekday_and_day
from uvdose.review.gather import gather
from uvdose.review.layout import stops_text
from uvdose.stamps import iso_utc

from .conftest import BLUE, Bindery

DATE = "2026-06-21"
LABELS = (
    "<script>alert(1)</script>", "]]> --> </style></svg>", "\"double\" 'single' & &amp; `",
    "$x^2$ \\frac{a}{b} {{7*7}}", "שלום עולם", "\u202eturned\u202c around", "🌞 sun 🖼", "x" * 500,
    "tab\tand\x00nothing",
)  # fmt: skip


def seen(bench: Bindery, date: str = DATE) -> tuple[Day, list[Curve]]:
    day = gather(bench.store, date)
    return day, curves(bench.store, day)


def parsed(text: str) -> ET.Element:
    """The page, if it has no parse error."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def words_of(element: ET.Element) -> str:
    return " ".join("".join(element.itertext()).split())


WRONG = ("<p></b></p>", "<p>a<p", "<ul></li></ul>", "<p class=a class=b>x</p>", "<i>&nosuch;</i>")


@pytest.mark.parametrize("wrong", WRONG)
def test_the_check_itself_can_fail(wrong: str) -> None:
    with pytest.raises(html5lib.html5parser.ParseError):
        parsed(f"<!DOCTYPE html><html><head><title>t</title></head><body>{wrong}</body></html>")


def judge(bench: Bindery, number: int, verdict: Verdict) -> None:
    for sql, values in bench.recorder.note("verdict", str(number), verdict, bench.clock.wall_us(), 0).statements:
        bench.db.execute(sql, values)


@pytest.fixture
def labelled(bindery: Bindery) -> Bindery:
    """A print for each of LABELS, in a frame and by a target of the same name."""
    bindery.light(5, 400)
    for text in LABELS:
        target = msgspec.structs.replace(BLUE, name=text, version=1, dose=60.0)
        number = bindery.start(target, "sill", text[:200], text)
        bindery.light(13, 400)
        bindery.act(number, Act.FINISH)
        bindery.light(3, 400)
    return bindery


def test_the_page_is_valid_and_says_what_the_day_was(printed: Bindery) -> None:
    root = parsed(page(*seen(printed), "bindery"))
    text = words_of(root.find("body"))
    for words in ("Sunday", "21 June 2026", "bindery", "400.0 → 490.0 mJ/cm²", "485.2-494.8", "+0.29", "held 0:30",
                  "iron blue, rag, 120 g", "0.29 stops more than its target asks", "40.00 V·s"):  # fmt: skip
        assert words in text, words
    assert [words_of(h) for h in root.iter("h2")][:3] == ["Light and prints", "Waiting for a verdict", "Other prints"]


def test_what_waits_stands_first_with_three_boxes_and_lines_for_the_pencil(printed: Bindery) -> None:
    day, light = seen(printed)
    waiting, others = rows(day)
    assert [r.number for r in waiting] == [1] and waiting[0].boxes == ("light", "right", "dark")
    assert [r.number for r in others] == [2] and not others[0].boxes, "the second is not finished"
    blocks = parsed(page(day, light, "bindery")).iter("tbody")
    first, second = (t for t in blocks if t.find("tr/td[@class='id']") is not None)
    assert [e.text for e in first.iter("span") if e.get("class") == "tick"] == ["light", "right", "dark"]
    assert not [e for e in second.iter("span") if e.get("class") == "tick"]
    assert all(t.find("tr/td[@class='pencil']/i") is not None for t in (first, second))
    judge(printed, 1, Verdict(tone="dark", stops=0.5))
    waiting, others = rows(seen(printed)[0])
    assert not waiting and others[0].verdict == "dark, +0.50 stop"


def test_nothing_leads_outside_and_nothing_is_needed(labelled: Bindery) -> None:
    text = page(*seen(labelled), "bindery", "A4")
    root = parsed(text)
    assert not {"script", "link", "img", "iframe", "object", "embed", "a", "base", "form"} & {
        e.tag for e in root.iter() if isinstance(e.tag, str)
    }
    ids: list[str] = [e.attrib["id"] for e in root.iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids)), "no id twice"
    for element in root.iter():
        for key, value in element.attrib.items():
            name = str(key).rpartition("}")[2]
            assert name != "style" and not name.startswith("on"), "a strict page lets no such attribute in"
            if name in ("href", "src"):
                assert value.startswith("#") and value[1:] in ids
            assert all(found in ids for found in re.findall(r"url\(#?([^)]*)\)", value)) or name == "aria-label", value
    styles = "".join(e.text or "" for e in root.iter("style"))
    assert "url(" not in styles and "@import" not in styles and "size: A4" in styles
    assert "://" not in text


def test_every_text_stays_a_text(labelled: Bindery) -> None:
    text = page(*seen(labelled), "<b>bench</b>")
    root = parsed(text)
    told = [words_of(e) for e in root.iter("bdi")]
    for label in LABELS:
        shown = label.replace("\t", " ").translate(dict.fromkeys((0, 0x202E, 0x202C), "\ufffd"))
        if len(shown) > MOST_LABEL:
            shown = shown[: MOST_LABEL - 1] + "…"
        assert shown in told, label
    assert "<b>bench</b>" in words_of(root.find("body")) and root.find("body/header/b/b") is None
    assert "\u202e" not in text and "\x00" not in text
    drawn = [words_of(e) for e in root.iter() if str(e.tag).endswith("text")]
    assert any(w.startswith("$x^2$") for w in drawn), "no formula is made of a frame's name"


def test_the_same_day_gives_the_same_bytes(printed: Bindery) -> None:
    """Also in another process with another seed of its hashes."""
    printed.db.close()
    program = (
        "import sys, hashlib; from pathlib import Path; from contextlib import closing;"
        "from uvdose.journal.schema import open_reading; from uvdose.journal.store import Store;"
        "from uvdose.review.gather import gather; from uvdose.review.day_curve import curves;"
        "from uvdose.review.day_page import page; from uvdose.review.day_pdf import pdf;"
        "store = Store(open_reading(Path(sys.argv[1]))); day = gather(store, '2026-06-21');"
        "light = curves(store, day); made = page(day, light, 'b').encode() + pdf(day, light, 'b', 'A4');"
        "print(hashlib.sha256(made).hexdigest())"
    )
    root = str(Path(__file__).parents[2])
    told = [
        subprocess.run(
            [sys.executable, "-c", program, str(printed.path)], capture_output=True, text=True, timeout=60, check=True,
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": root, "TZ": "UTC", "HOME": str(printed.path.parent)},
        ).stdout for seed in ("1", "2")
    ]  # fmt: skip
    assert told[0] == told[1] and len(told[0].strip()) == 64


def test_there_are_no_colours(printed: Bindery) -> None:
    """Whatever is drawn is black, white or grey; what states mean is told by form and words as well."""
    text = page(*seen(printed), "bindery")
    found = {c.lower() for c in re.findall(r"#[0-9a-fA-F]{6}\b|#[0-9a-fA-F]{3}\b", text)}
    assert found and all(len(set(re.findall("..", c[1:]) if len(c) == 7 else c[1:])) == 1 for c in found), found
    assert not re.search(r"rgb\(|hsl\(", text)


def test_a_gap_is_a_hole_and_a_short_pause_is_none(bindery: Bindery) -> None:
    bindery.light(120, 400)
    bindery.light(30, 400, silent=True)
    bindery.light(120, 200)
    bindery.light(100, 400, silent=True)
    bindery.light(60, 400)
    day, [light] = seen(bindery)
    assert light.unit == "mW/cm2" and light.strongest == pytest.approx(5.0)
    [(begin, end)] = light.holes
    # 270 s of readings and the short pause lie before it; a native line tells the light up to its own moment.
    assert begin == pytest.approx(269, abs=1.01) and end - begin == pytest.approx(101, abs=1.01)
    assert sum(1 for v in light.light if v != v) == 2, "the line breaks there, and at its end"
    assert min(v for v in light.light if v == v) == pytest.approx(2.5)
    assert iso_utc(day.from_us) < iso_utc(day.to_us)


@pytest.mark.parametrize("date", ["2026-06-20", DATE])
def test_days_without_prints_and_without_anything(bindery: Bindery, date: str) -> None:
    bindery.light(20, 400)
    day, light = seen(bindery, date)
    text = words_of(parsed(page(day, light, "bindery")).find("body"))
    assert ("No exposure on this day." if date == DATE else "No exposure and no reading is kept of this day.") in text
    assert len(pypdf.PdfReader(io.BytesIO(pdf(day, light, "bindery", "A4"))).pages) == 1


def drawn(draw: Callable[[Figure, Place], None], height: float) -> Figure:
    with drawing():
        fig = Figure(figsize=(7.0, height))
        draw(fig, Place(0.0, 0.0, 7.0, height))
    return fig


def test_the_dots_lie_where_the_doses_do(printed: Bindery) -> None:
    day, _ = seen(printed)
    ax = drawn(lambda fig, at: draw_stops(fig, at, day), stops_height(day)).axes[0]
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    fern, brown = day.prints
    [dot] = [d for d in dots if d.get_markerfacecolor() != "white"]
    assert dot.get_ydata()[0] == pytest.approx(fern.stops) == pytest.approx(math.log2(490 / 400))
    [ends] = [line.get_ydata() for line in ax.lines if line.get_marker() == "_" and line.get_xdata()[0] == 0]
    interval = (fern.document.dose_low, fern.document.dose_high)
    assert list(ends[:2]) == pytest.approx([math.log2(v / 400) for v in interval])
    assert [line.get_ydata()[0] for line in ax.lines if line.get_marker() == "v"] == [-0.5], "brown, beyond the edge"
    assert stops_text(brown.stops) in [t.get_text().strip() for t in ax.texts]


def test_bars_holds_and_gaps_lie_where_they_were(printed: Bindery) -> None:
    printed.light(80, 400, silent=True)
    printed.light(20, 400, 1.0)
    printed.act(2, Act.FINISH)
    printed.light(30, 400, 1.0)
    day, light = seen(printed)
    fig = drawn(lambda fig, at: draw_light(fig, at, day, light), light_height(day, light))
    sill, roof, lanes = fig.axes
    begin = day.prints[0].in_light[0].start_us
    boxes = [path.get_extents() for drawn_bars in lanes.collections for path in drawn_bars.get_paths()]
    bars = [(box.x0 + day.from_us / 1e6 - begin / 1e6, box.width) for box in boxes]
    assert bars[:2] == [pytest.approx((0, 60), abs=1e-3), pytest.approx((90, 58), abs=1e-3)], "held for 30 s between"
    assert [t.get_text() for t in lanes.get_yticklabels()] == ["north", "south"]
    for ax, curve in zip((sill, roof), light, strict=True):
        hatched = [p for p in ax.patches if p.get_hatch()]
        assert [(p.get_x(), p.get_x() + p.get_width()) for p in hatched] == [pytest.approx(h) for h in curve.holes]
        assert len(hatched) == 1


def test_hundreds_of_prints_are_a_handful_of_lines(printed: Bindery) -> None:
    day, _ = seen(printed)
    many = msgspec.structs.replace(day, prints=day.prints * 300)

    def drawings(shown: Day) -> list[int]:
        figs = (drawn(lambda fig, at: draw_stops(fig, at, shown), 2.0),
                drawn(lambda fig, at: draw_light(fig, at, shown, []), 2.0))  # fmt: skip
        return [sum(len(ax.lines) + len(ax.patches) + len(ax.collections) for ax in fig.axes) for fig in figs]

    assert min(drawings(day)) > 0 and drawings(many) == drawings(day)


def test_strokes_break_between_each_other() -> None:
    assert list(zip(*apart([(1, 2), (3, 4), (5, 6), (7, 8)]), strict=True)) == [
        (1, 2), (3, 4), pytest.approx((math.nan, math.nan), nan_ok=True), (5, 6), (7, 8),
    ]  # fmt: skip
    assert apart([]) == ([], [])


# -- the PDF -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "points"), [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))])
def test_the_pdf_has_its_paper_and_all_words(printed: Bindery, paper: str, points: tuple[float, float]) -> None:
    """ISO 216 and ANSI sizes, in points of 1/72 inch."""
    read = pypdf.PdfReader(io.BytesIO(pdf(*seen(printed), "bindery", paper)))
    for sheet in read.pages:
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx(points, abs=0.01)
    text = " ".join(" ".join(p.extract_text() for p in read.pages).split())
    for words in ("21 June 2026", "bindery", "490.0 mJ/cm²", "+0.29", "Waiting for a verdict", "dark", "Sensors"):
        assert words in text, words
    assert read.metadata is not None and read.metadata.title == "2026-06-21 bindery"
    assert "/CreationDate" not in read.metadata and "/ModDate" not in read.metadata


def parts(flow: Flow) -> list[tuple[int, float, Words | Stroke]]:
    return [(n, y, part) for n, blocks in enumerate(flow._pages) for y, block in blocks for part in block.parts]


@pytest.mark.parametrize("times", [4, 18])  # whole, and in lines
@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_runs_over_an_edge(labelled: Bindery, paper: str, times: int) -> None:
    day, light = seen(labelled)
    many = msgspec.structs.replace(day, prints=day.prints * times)  # the longest words among them
    assert (len(many.prints) > MOST_WHOLE) == (times > 4)
    with drawing():
        flow = Flow(paper, "bindery")
        _fill(flow, many, light, "bindery")
    width, height = PAPERS[paper]
    assert len(flow._pages) > 5
    for _, y, part in parts(flow):
        assert y + part.y <= height - FOOT + 0.01, part
        if isinstance(part, Words):
            long = text_width(part.text, part.size, part.bold)
            begin, end = (part.x - long, part.x) if part.right else (part.x, part.x + long)
            assert begin >= -0.03 and end <= width - MARGIN - RIGHT + 0.01, part
        else:
            assert part.x + part.width <= width - MARGIN - RIGHT + 0.01, part


def test_a_prints_block_stays_whole_and_the_head_comes_again(labelled: Bindery) -> None:
    day, light = seen(labelled)
    with drawing():
        flow = Flow("A4", "bindery")
        _fill(flow, msgspec.structs.replace(day, prints=day.prints * 4), light, "bindery")
    pages: dict[int, list[str]] = {}
    for number, _, part in parts(flow):
        if isinstance(part, Words):
            pages.setdefault(number, []).append(part.text)
    with_prints = [texts for texts in pages.values() if "light" in texts and "dark" in texts]
    assert len(with_prints) > 2
    for texts in with_prints:
        assert "dose asked, given" in texts
        assert texts.count("light") == texts.count("right") == texts.count("dark"), "no box is parted from its print"


def test_sixty_prints_have_a_line_each_on_four_pages(labelled: Bindery) -> None:
    labelled.light(2, 400)
    seen_day, light = seen(labelled)
    long, short = seen_day.prints[7], msgspec.structs.replace(seen_day.prints[0], combination=BLUE.combination)
    documents = [
        msgspec.structs.replace(p.document, id=1000 + k, label="fern" if p is short else p.document.label)
        for k, p in enumerate([short, long] * 30)
    ]
    prints = [msgspec.structs.replace(p, document=d) for p, d in zip([short, long] * 30, documents, strict=True)]
    day = msgspec.structs.replace(seen_day, prints=prints)
    read = pypdf.PdfReader(io.BytesIO(pdf(day, light, "bindery", "A4")))
    assert len(read.pages) <= 4
    text = " ".join(" ".join(p.extract_text() for p in read.pages).split())
    for number in range(1000, 1060):
        assert f" {number} " in text
    heads = sum("begun" in p.extract_text() for p in read.pages)
    assert text.count("begun in light") == heads > 2, "each page has its head"
    assert " ".join(LINES.split()) in text


def test_no_column_of_a_line_runs_into_the_next(labelled: Bindery) -> None:
    day, _ = seen(labelled)
    inner = PAPERS["A4"][0] - MARGIN - RIGHT
    made = [r for found in rows(day) for r in found]
    assert made
    widest: dict[str, Any] = {
        "number": 98765, "asked": "1234567", "dose": "1234567 counts·s", "begun": "2026-06-20 23:50",
        "light": "11:59:59", "stops": "+12.34",
    }  # fmt: skip
    made += [msgspec.structs.replace(r, **widest) for r in made]
    with drawing():
        for row in made:
            on_it = sorted((p for p in line_of(row, inner).parts if isinstance(p, Words) and p.y == BASE),
                           key=lambda p: p.x)  # fmt: skip
            spans = []
            for part in on_it:
                long = text_width(part.text, part.size, part.bold)
                spans.append((part.x - long, part.x) if part.right else (part.x, part.x + long))
            spans.sort()
            assert all(a[1] < b[0] for a, b in pairwise(spans)), (row, spans)


@pytest.mark.parametrize("text", ["", "one", "a few words of a usual label", "x" * 400, "é" * 90, "🌞" * 50, "a " * 80])
def test_lines_are_no_wider_than_they_may_and_lose_nothing(text: str) -> None:
    with drawing():
        lines = broken(text, 1.5, 8.5)
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")
        assert all(text_width(line, 8.5) <= 1.5 for line in lines)


@pytest.mark.parametrize(
    ("date", "words"),
    [("2026-06-21", ("Sunday", "21 June 2026")), ("2024-02-29", ("Thursday", "29 February 2024"))],
)
def test_a_date_in_words(date: str, words: tuple[str, str]) -> None:
    assert weekday_and_day(date) == words
    assert sentences(["light at 4", "", "held"]) == "Light at 4. Held."
