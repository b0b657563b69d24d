"""From readings to the time left in the documents: with and without a place, at the edge of the day, and seldom."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime

import msgspec
import pytest
from exposure.table import IDENTITY, PaperBench, us
from hypothesis import given
from hypothesis import strategies as st

from uvdose.cli.screen import plain_lines, status_text
from uvdose.exposure.document import document
from uvdose.exposure.exposure import Exposure
from uvdose.messages import ExposureDoc, StatusDoc
from uvdose.model import Left
from uvdose.settings_bench import BenchSettings
from uvdose.timeleft import EACH_S, TimeLeft
from uvdose.units import minutes, rounded_span, span_words

BERN = BenchSettings("bern", 46.8, 6.9, 500.0)
MORNING = datetime(2026, 6, 21, 9, tzinfo=UTC).timestamp()
SUNSET = datetime(2026, 6, 21, 19, 20, tzinfo=UTC).timestamp()  # some ten minutes before it


def _counting(light: Callable[[float], float], dose_mj_cm2: float, known_s: int = 930) -> tuple[PaperBench, Exposure]:
    paper = PaperBench(light)
    paper.pass_to(known_s)
    exposure = paper.start(dose_mj_cm2)
    paper.pass_to(known_s + 30)
    return paper, exposure


def _left(told: TimeLeft, paper: PaperBench, exposure: Exposure, utc_s: float, real_s: float = 0.0) -> Left | None:
    return told.of(exposure, paper.bench.channels["sill"], us(paper.now), utc_s, real_s)


def _shown(paper: PaperBench, exposure: Exposure, left: Left | None) -> ExposureDoc:
    return document(exposure, paper.bench.channels["sill"].track, us(paper.now), [], left)


def _said(doc: ExposureDoc) -> tuple[str, str]:
    status = StatusDoc("bindery", "2026-06-21T10:05:00.000Z", [], [doc])
    return plain_lines(status)[-1], status_text(status)


def test_in_steady_light_it_is_dose_over_light() -> None:
    paper, exposure = _counting(lambda s: 50.0, 2565.0)
    left = _left(TimeLeft(), paper, exposure, MORNING)
    assert left is not None and left.median_s == pytest.approx(25650 / 50 - 30, rel=1e-3)
    doc = _shown(paper, exposure, left)
    assert doc.eta_low_s is not None and doc.eta_high_s is not None and doc.eta_s is not None
    assert doc.eta_low_s < doc.eta_s < doc.eta_high_s < 1.1 * doc.eta_low_s and not doc.not_today


def test_under_clouds_the_range_is_in_minutes() -> None:
    paper, exposure = _counting(lambda s: 30.0 + 20.0 * math.sin(s / 47.0), 2565.0)
    doc = _shown(paper, exposure, _left(TimeLeft(), paper, exposure, MORNING))
    assert doc.eta_low_s is not None and doc.eta_high_s is not None
    assert doc.eta_low_s % 60 == doc.eta_high_s % 60 == 0 and doc.eta_high_s > 1.2 * doc.eta_low_s
    words = f"{doc.eta_low_s / 60:.0f}-{doc.eta_high_s / 60:.0f} min"
    plain, table = _said(doc)
    assert f"{words} left" in plain and words in table


def test_with_a_place_the_sun_s_path_comes_by_another_process() -> None:
    """Until it is there, the light of now goes on; then what the setting sun cannot give is told as that."""
    paper, exposure = _counting(lambda s: 2.0, 2565.0)  # 25,650 J/m² at 2 W/m² are 3.5 hours

    told = TimeLeft()
    told.stands(BERN)
    first = _left(told, paper, exposure, SUNSET)
    assert first is not None and first.median_s is not None and first.median_s > 3 * 3600
    waiting = told._asking
    assert waiting is not None
    waiting.join(60)
    left = _left(told, paper, exposure, SUNSET)
    assert left == Left(None, not_today=True)
    plain, table = _said(_shown(paper, exposure, left))
    assert "the sun will not finish this today" in plain and "not today" in table
    for other in (MORNING, MORNING + 86400):
        morning = _left(told, paper, exposure, other, 2 * EACH_S)
        assert morning is not None and morning.median_s is not None, "it tells nothing of another day"


def test_it_is_reckoned_seldom_and_runs_down_between() -> None:
    paper, exposure = _counting(lambda s: 50.0, 2565.0)
    told = TimeLeft()
    first = _left(told, paper, exposure, MORNING, 100.0)
    paper.pass_to(paper.now + 2)
    second = _left(told, paper, exposure, MORNING, 100.0 + EACH_S / 2)
    assert first is not None and second is not None and first.median_s is not None
    assert second.median_s == first.median_s - 2
    third = _left(told, paper, exposure, MORNING, 100.0 + EACH_S)
    assert third is not None and third.median_s == pytest.approx(second.median_s, abs=1.0)


def test_under_a_lamp_and_where_it_is_not_to_come_nothing_is_forecast() -> None:
    paper, exposure = _counting(lambda s: 50.0, 2565.0)
    channel = paper.bench.channels["sill"]
    channel.identity = msgspec.structs.replace(IDENTITY, light="lamp")
    assert _left(TimeLeft(), paper, exposure, MORNING) is None
    assert _shown(paper, exposure, None).eta_s == pytest.approx(25650 / 50 - 30, abs=1)
    dark, waiting = _counting(lambda s: 50.0 if s < 955 else 0.0, 2565.0)
    assert _left(TimeLeft(), dark, waiting, MORNING) is None and _shown(dark, waiting, None).eta_s is None


def test_an_end_that_may_never_come_is_said_in_words() -> None:
    paper, exposure = _counting(lambda s: 50.0, 2565.0)
    assert "from 25:00 left" in _said(_shown(paper, exposure, Left(3000.0, 1500.0, None)))[0]
    perhaps = _said(_shown(paper, exposure, Left(None, 4000.0, None, True)))[0]
    assert "1:00:00 at the least; the sun may not finish this today" in perhaps


@given(st.floats(0, 1e5), st.floats(0, 1e5))
def test_a_rounded_range_holds_the_range_and_is_no_finer_than_known(a: float, b: float) -> None:
    low, high = sorted((a, b))
    shown_low, shown_high = rounded_span(low, high)
    assert shown_low is not None and shown_high is not None
    assert 0 <= shown_low <= low <= high <= shown_high
    assert shown_high - shown_low <= max(2.0, (high - low) * 5 / 3 + 1e-6)


def test_ranges_as_they_are_shown() -> None:
    assert rounded_span(372, 648) == (360, 660) and span_words(360, 660) == "6-11 min"
    assert rounded_span(534.6, 545.4) == (534, 546) and span_words(534, 546) == f"{minutes(534)}-{minutes(546)}"
    assert rounded_span(None, None) == (None, None) and rounded_span(100, None) == (90, None)
    assert span_words(5400, 9000) == "1:30:00-2:30:00"
