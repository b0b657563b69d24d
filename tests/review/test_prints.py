"""Prints found again and summed up; a target's course. The prints are invented, their stops are round."""

from __future__ import annotations

import math
from pathlib import Path

import msgspec
import pytest
from journal.journals import SENSOR, WALL_US, print_rows, write

from uvdose.exposure.target import Combination, Target
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.journal.store import Store
from uvdose.messages import Part
from uvdose.model import Refusal
from uvdose.notes import Doc, Picture, PrintNote, Verdict, kind_name
from uvdose.review.drift import drift_of
from uvdose.review.drift_chart import MOST_LINES, chart_lines
from uvdose.review.drift_text import drift_lines
from uvdose.review.groups import BY, group
from uvdose.review.print_text import WIDTH, found_lines, group_lines, history_lines, note_lines, span_of
from uvdose.review.prints import Sought, find, one, tone_of

DAY_US = 86_400_000_000
RAG = Combination("iron blue", "Bütten rag 120 g", "one coat, rod", "clear film")
BLUE = Target("blue", 1, 1000.0, combination=RAG, identity=SENSOR)
BLUE_2 = msgspec.structs.replace(BLUE, version=2, dose=2000.0)
BROWN = Target("brown", 1, 500.0, combination=Combination("brown", "smooth 300 g"), identity=SENSOR)


class Kept:
    """A journal that prints are put into, without a bench."""

    def __init__(self, path: Path) -> None:
        self.db = open_writing(path)
        self.db.execute("PRAGMA synchronous=OFF")  # no test here pulls the plug
        self.recorder = Recorder(self.db, lambda t: WALL_US + t)
        self.store = Store(self.db)
        write(self.db, self.recorder.sensor(SENSOR))
        for target in (BLUE, BLUE_2, BROWN):
            write(self.db, self.recorder.target(target))
        self.count = 0

    def print(self, target: Target, stops: float, *notes: Doc, day: float = 0, state: str = "finished",
              label: str = "", frame: str = "1", part: Part | None = None) -> int:  # fmt: skip
        self.count += 1
        wall_us = WALL_US + int(day * DAY_US) + self.count * 1_000_000
        rows = print_rows(self.recorder, self.count, target, target.dose * 2**stops, wall_us, state, label, frame, part)
        write(self.db, rows)
        for note in notes:
            write(self.db, self.recorder.note(kind_name(type(note)), str(self.count), note, wall_us).statements)
        return self.count


@pytest.fixture
def kept(tmp_path: Path, in_utc: None) -> Kept:
    return Kept(tmp_path / "journal.sqlite3")


@pytest.fixture
def some(kept: Kept) -> Kept:
    kept.print(BLUE, 0.5, Verdict("dark", 0.5), label="Ada fern", frame="north")
    kept.print(BLUE, 0.0, Verdict("right", text="for the wall"), PrintNote(wash="20 min RUNNING"), label="Ben fern")
    kept.print(BROWN, -0.25, Verdict(stops=-0.25), day=1, label="Ada ivy")
    kept.print(BLUE, 0.1, state="void", day=1, label="Ada ivy")
    kept.print(BLUE_2, 0.1, Verdict(highlights="blank"), day=40, part=Part("edition", "fair", 3, 1))
    kept.print(BROWN, 0.0, PrintNote(picture=Picture("a" * 64, "jpg", 3)), day=40, state="counting", label="Ben ivy")
    kept.print(Target("strip 1", 0, 900.0, identity=SENSOR), 0.0, day=40, part=Part("strip", "1"))
    return kept


@pytest.mark.parametrize(("sought", "expected"), [
    (Sought(), [6, 5, 3, 2, 1]), (Sought(void=True), [6, 5, 4, 3, 2, 1]), (Sought(target="blue"), [5, 2, 1]),
    (Sought(target="blue:2"), [5]), (Sought(target="blue v1"), [2, 1]), (Sought(paper="BÜTTEN"), [5, 2, 1]),
    (Sought(process="brown"), [6, 3]), (Sought(film="clear"), [5, 2, 1]), (Sought(coat="rod"), [5, 2, 1]),
    (Sought(label="fern"), [2, 1]), (Sought(label="ada"), [3, 1]), (Sought(text="running"), [2]),
    (Sought(text="the wall"), [2]), (Sought(verdict="dark"), [1]), (Sought(verdict="light"), [3]),
    (Sought(verdict="right"), [2]), (Sought(verdict="none"), [6, 5]), (Sought(frame="north"), [1]),
    (Sought(sensor="sill"), [6, 5, 3, 2, 1]), (Sought(sensor="roof"), []), (Sought(edition="fair"), [5]),
    (Sought(edition="1"), []), (Sought(wall0_us=WALL_US + DAY_US, wall1_us=WALL_US + 2 * DAY_US), [3]),
    (Sought(label="ada", verdict="dark", paper="rag"), [1]), (Sought(label="%"), []),
    (Sought(paper=""), [6, 5, 3, 2, 1]),
])  # fmt: skip
def test_found_newest_first(some: Kept, sought: Sought, expected: list[int]) -> None:
    doc = find(some.store, sought, 100)
    assert [p.id for p in doc.prints] == expected and doc.found == len(expected)
    bounded = find(some.store, sought, 1)
    assert [p.id for p in bounded.prints] == expected[:1] and bounded.found == len(expected)


def test_a_target_that_was_never_set_is_told(some: Kept) -> None:
    with pytest.raises(Refusal, match="no target 'violet'; known: blue, brown"):
        find(some.store, Sought(target="violet"), 10)
    for wrong in ("blue:x", "blue:", "blue:1e9", "blue:²"):
        with pytest.raises(Refusal) as err:
            find(some.store, Sought(target=wrong), 10)
        assert err.value.code == 2


def test_the_table(some: Kept) -> None:
    assert found_lines(find(some.store, Sought(), 4)) == [
        "id  begun             label     target    mJ/cm²     stops  verdict     noted",
        " 6  2026-07-31 10:00  Ben ivy   brown v1   500.0  counting  -           picture",
        " 5  2026-07-31 10:00  fair 3    blue v2     2144     +0.10  -           -",
        " 3  2026-06-22 10:00  Ada ivy   brown v1   420.4     -0.25  light 0.25  -",
        " 2  2026-06-21 10:00  Ben fern  blue v1     1000     +0.00  right       yes",
        "1 more; `--limit 5` shows all 5",
    ]
    assert found_lines(find(some.store, Sought(label="none"), 4)) == ["no print is like that"]


def test_within_eighty_columns_whatever_the_names(kept: Kept) -> None:
    long = Target("a-target-of-which-the-name-is-very-long-indeed", 1, 1e6, "counts.s", identity=SENSOR)
    write(kept.db, kept.recorder.target(long))
    for target in (long, BLUE):
        kept.print(target, 0.0, Verdict("dark", 4.5), PrintNote(picture=Picture("a" * 64, "jpg", 3)), label="x" * 60)
    assert max(map(len, found_lines(find(kept.store, Sought(), 9)))) <= WIDTH
    assert max(map(len, group_lines(group(kept.store, Sought(), "target", 9)))) <= WIDTH


def test_summed_up_by_label(some: Kept) -> None:
    some.print(BROWN, 0.25, Verdict("dark"), day=41, label="Ada ivy")
    doc = group(some.store, Sought(label="a"), "label", 10)
    ada = next(g for g in doc.groups if g.name == "Ada ivy")
    assert (ada.prints, ada.light, ada.right, ada.dark, ada.unjudged) == (2, 1, 0, 1, 0), "void is in no sum"
    assert ada.mean_stops == pytest.approx(0) and ada.spread_stops == pytest.approx(math.sqrt(2) * 0.25)
    assert group_lines(group(some.store, Sought(target="brown"), "label", 1)) == [
        "label    prints   mean  spread  light  right  dark  unjudged  newest",
        "Ada ivy       2  +0.00    0.35      1      0     1         0  2026-08-01",
        "1 more; `--limit 2` shows all 2",
        "mean and spread in stops from the dose that each print aimed at",
    ]
    every = group(some.store, Sought(), "label", 10)
    assert every.prints == sum(g.prints for g in every.groups) == find(some.store, Sought(), 1).found
    for by in BY:
        assert group(some.store, Sought(), by, 100).prints == every.prints
    assert [g.name for g in group(some.store, Sought(), "month", 9).groups] == ["2026-08", "2026-07", "2026-06"]


def test_one_print_and_its_history(some: Kept) -> None:
    noted = PrintNote(wash="20 min", humidity_percent=55.0, coated_utc="2026-06-20T10:00:02.000Z", drying_delay_s=720.0)
    write(some.db, some.recorder.note("print", "2", noted, WALL_US + DAY_US).statements)
    assert note_lines(one(some.store, 2), None) == [
        "print 2, Ben fern: blue v1, finished at 1000 mJ/cm², +0.00 stops",
        "  begun         2026-06-21 10:00:02",
        "  process       iron blue",
        "  paper         Bütten rag 120 g",
        "  coat          one coat, rod",
        "  film          clear film",
        "  verdict       right, for the wall",
        "  wash          20 min",
        "  humidity      55 %",
        "  drying delay  12 min",
        "  coated        2026-06-20 10:00:02",
        "  coating age   1 d",
    ]
    told = some.store.note_history(PrintNote, "2")
    assert history_lines([*told]) == [
        "2026-06-21 10:00:02  wash 20 min RUNNING",
        "2026-06-22 10:00:00  wash 20 min (before: 20 min RUNNING), humidity 55 %, drying delay 12 min,",
        "    coated 2026-06-20 10:00:02",
    ]
    with pytest.raises(Refusal, match="no exposure 99"):
        one(some.store, 99)


@pytest.mark.parametrize(("seconds", "words"), [
    (45, "45 s"), (720, "12 min"), (7200, "2 h"), (9000, "2:30 h"), (86_390, "23:59 h"), (86_400, "1 d"),
    (183_600, "2 d 3 h"),
])  # fmt: skip
def test_spans(seconds: float, words: str) -> None:
    assert span_of(seconds) == words


@pytest.mark.parametrize(("verdict", "tone"), [
    (None, None), (Verdict(), None), (Verdict(density=1.4), None), (Verdict("light"), "light"),
    (Verdict(stops=0.0), "right"), (Verdict(stops=-1.0), "light"), (Verdict(stops=0.1), "dark"),
])  # fmt: skip
def test_a_verdict_in_one_word(verdict: Verdict | None, tone: str | None) -> None:
    assert tone_of(verdict) == tone


def test_the_course_of_a_target(kept: Kept) -> None:
    """The paper wants a stop more at 70 % than at 30 %, and whoever prints follows it: verdicts alone show nothing."""
    for i in range(9):
        humidity = 30.0 + 5 * i
        target, wanted = (BLUE, 1000.0) if i < 5 else (BLUE_2, 1000.0)
        stops = math.log2(wanted * 2 ** ((humidity - 30) / 40) / target.dose)
        kept.print(target, stops, Verdict("right"), PrintNote(humidity_percent=humidity), day=20.0 * i)
    kept.print(BLUE_2, 0.5, Verdict("dark"), PrintNote(humidity_percent=70.0, drying_delay_s=60.0), day=200)
    kept.print(BLUE_2, 0.5, Verdict("dark", 0.5), PrintNote(coating_age_s=60.0), day=200)
    other = msgspec.structs.replace(BLUE, combination=Combination("iron blue", "another paper"))
    kept.print(other, 0.0, Verdict("light", -3.0), day=200)
    doc = drift_of(kept.store, "blue")
    assert [(v.version, v.stops, v.tally.prints) for v in doc.versions] == [(1, None, 6), (2, 1.0, 6)]
    humidity, drying, age = doc.links
    assert humidity.prints == 9 and humidity.found is not None and humidity.found.rho == pytest.approx(1)
    assert (drying.prints, drying.found, age.prints, age.found) == (0, None, 1, None)
    assert (doc.left_out, doc.other) == (1, 1)
    seasons = {s.name: s for s in doc.seasons}
    assert {name: s.prints for name, s in seasons.items()} == {"Jun-Aug": 4, "Sep-Nov": 5, "Dec-Feb": 3}
    first = [-1 + 5 * i / 40 for i in range(4)]  # in stops from v2's 2000
    assert seasons["Jun-Aug"].wanted_stops == pytest.approx(sum(first) / 4)
    assert seasons["Dec-Feb"].wanting == 1 and seasons["Dec-Feb"].wanted_stops == pytest.approx(0.0)
    text = "\n".join(drift_lines(doc))
    assert "the more of it, the more dose" in text and "too few to say: 0 prints judged and noted, 8 are needed" in text
    assert "without by how much, and so not in it: 1 print" in text and max(map(len, text.split("\n"))) <= 100


def test_the_chart_of_a_course(kept: Kept) -> None:
    """v1 lies a stop below v2. A column is 1/30 of the reach of 1.05 stops: the bar of v1 is 29 left of the middle."""
    kept.print(BLUE, 0.0, Verdict("light", -0.5))
    kept.print(BLUE, 1.0, Verdict("dark"), day=1)
    kept.print(BLUE, 0.5, day=8)
    kept.print(BLUE_2, -0.21, Verdict("right"), day=15)
    kept.print(BLUE_2, -0.21, day=15)
    lines = chart_lines(drift_of(kept.store, "blue"))
    assert lines[:4] == [
        "2026-06-21   l                            d",
        "2026-06-28   │              ·",
        "2026-07-05                          r     │",
        "            -1.05                         0                         +1.05 stops",
    ]
    assert lines[0].index("l") == 12 + 30 - 29 and lines[0].index("d") == 12 + 30
    assert lines[2].index("r") == 12 + 30 - round(0.21 / 1.05 * 30) and lines[1].index("·") == 12 + 30 - 14


def test_a_long_course_is_told_by_months_and_bounded(kept: Kept) -> None:
    for month in range(50):
        kept.print(BLUE_2, 0.0, Verdict("right"), day=30.5 * month)
    lines = chart_lines(drift_of(kept.store, "blue"))
    assert lines[-1] == "the newest 40 of 50 months" and len(lines) == MOST_LINES + 3
    assert lines[MOST_LINES - 1].startswith("2030-07 ") and max(map(len, lines)) <= 80
    assert chart_lines(drift_of(kept.store, "brown")) == []


def test_where_light_bleaches_too_dark_wants_more(kept: Kept) -> None:
    from uvdose.calibrate.processes import process

    assert process("plant juice").prints == "bleaches"
    pale = Target("leaf", 1, 1000.0, combination=Combination("plant juice"), identity=SENSOR)
    write(kept.db, kept.recorder.target(pale))
    kept.print(pale, 0.0, Verdict("dark", 1.0))
    kept.print(BLUE_2, 0.0, Verdict("dark", 1.0))
    assert drift_of(kept.store, "leaf").versions[0].tally.wanted_stops == pytest.approx(1.0)
    assert drift_of(kept.store, "blue").versions[1].tally.wanted_stops == pytest.approx(-1.0)
