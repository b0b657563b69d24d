"""A day tells what was noted of a print, and what the light at its start made likely, as text and as a page."""

from __future__ import annotations

import msgspec
import pytest

from uvdose.exposure.outcome import Outcome
from uvdose.exposure.states import Act
from uvdose.model import Fact
from uvdose.notes import Picture, PrintNote
from uvdose.review.day import Day
from uvdose.review.day_curve import curves
from uvdose.review.day_page import page
from uvdose.review.day_words import rows
from uvdose.review.gather import gather
from uvdose.review.text import render

from .conftest import BLUE, Bindery
from .test_day_page import parsed, words_of

NOTE = PrintNote(wash="20 min", humidity_percent=61.0, text="<b>fogged</b> at the edge",
                 picture=Picture("ab" * 32, "jpg", 1234))  # fmt: skip
LINE = "the light fell as in shade, and the print is counted as if it lay under open sky"


def a_day(bindery: Bindery, many: int = 1) -> Day:
    """One print of which something was noted, and others."""
    bindery.light(2, 400)
    for k in range(many):
        number = bindery.start(BLUE, "sill", f"frame {k}")
        fact = Fact(bindery.clock.dose_us(), "light", number, "sill", {"line": LINE})
        told = Outcome()
        told.facts.append(fact)
        bindery.settle(told)
        bindery.light(90, 400)
        bindery.act(number, Act.FINISH)
        bindery.light(2, 400)
    bindery.say("print", "1", PrintNote(text="an older word"))
    bindery.say("print", "1", NOTE)
    return gather(bindery.store, "2026-06-21")


@pytest.mark.parametrize("many", [1, 14])
def test_the_newest_note_is_in_the_story(bindery: Bindery, many: int) -> None:
    day = a_day(bindery, many)
    text = " ".join(render(day).split())
    assert "noted: wash 20 min, <b>fogged</b> at the edge, humidity 61 %, picture 1-abababababab….jpg" in text
    assert "older word" not in text and text.count("noted:") == 1
    assert max(map(len, render(day).splitlines())) <= 80
    [first, *rest] = [row for half in rows(day) for row in half]
    assert [sum("noted:" in line for line in row.story) for row in (first, *rest)] == [1] + [0] * (many - 1)
    seen = words_of(parsed(page(day, curves(bindery.store, day), "bench")))
    assert "Noted: wash 20 min, <b>fogged</b> at the edge" in seen, "as text, never as marks"
    assert day.as_json()["exposures"][0]["note"] == NOTE


def test_where_it_seemed_to_lie_is_to_be_looked_at(bindery: Bindery) -> None:
    day = a_day(bindery)
    text = render(day)
    assert LINE in " ".join(text[text.index("Look at these with care:"):].split())
    [row] = [row for half in rows(day) for row in half]
    assert LINE in row.care


def test_a_target_that_was_only_reckoned_is_said_to_be_so(bindery: Bindery) -> None:
    """On the page as in the text: past the target, though the dose that was measured lies below it."""
    day = a_day(bindery)
    estimated = msgspec.structs.replace(day.prints[0], past_s=30.0, past_dose=0.0)
    day = msgspec.structs.replace(day, prints=[estimated])
    told = "past the target 0:30 in the light, reckoned with what is missing"
    [row] = [row for half in rows(day) for row in half]
    assert told in row.story and told in " ".join(render(day).split())
    assert "Past the target 0:30 in the light, reckoned" in words_of(parsed(page(day, [], "bench")))
