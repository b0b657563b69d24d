"""The review of a day, as a document and as text."""

from __future__ import annotations

import json

import msgspec
import pytest

from uvdose.journal.daily import newest_day
from uvdose.model import Refusal
from uvdose.review.gather import gather
from uvdose.review.text import render, spark
from uvdose.stamps import day_bounds


def test_the_document(printed) -> None:
    day = json.loads(msgspec.json.encode(gather(printed.store, newest_day(printed.store)).as_json()))
    assert day["date"] == "2026-06-21"
    fern, brown = day["exposures"]
    assert (fern["id"], fern["label"], fern["state"], fern["paper"]) == (1, "fern", "finished", "rag, 120 g")
    assert fern["dose"] == pytest.approx(490, rel=1e-12) and fern["stops"] == pytest.approx(0.29278, abs=1e-5)
    assert fern["held_s"] == 30 and fern["measured_s"] == 118
    names = [e["event"] for e in fern["events"]]
    assert (
        names[0] == "started"
        and names[-1] == "finished"
        and {"look", "held", "resumed", "lead", "reached"} <= set(names)
    )
    # The second still runs: its figures are counted from the readings kept, not as old as its last act.
    assert (brown["state"], brown["unit"]) == ("counting", "V.s")
    assert brown["dose"] == pytest.approx(40, rel=1e-9)
    assert (brown["measured_s"], brown["bridged_s"], brown["missing_s"]) == (19, 21, 0)
    sill, roof = day["sensors"]
    assert (sill["name"], sill["unit"], sill["readings"]) == ("sill", "mW/cm2", 208)
    assert sill["strongest"] == 5 and sill["minutes"] == pytest.approx(227 / 60)
    assert sill["mean"] == pytest.approx((5 * 187 + 2.5 * 40) / 227)
    assert (roof["unit"], roof["strongest"]) == ("V", 1.0)
    assert len(sill["trace"]) == 264 and min(v for v in sill["trace"] if v is not None) == 2.5 and None in sill["trace"]


def test_a_running_exposure_is_counted_up_to_its_last_reading(printed) -> None:
    printed.light(3, 400, 1.0)
    assert printed.store.exposure(2).document.dose < 41  # as it stood at its last act or call
    assert gather(printed.store, "2026-06-21").prints[1].document.dose == pytest.approx(43, rel=1e-9)


def test_a_day_without_anything_and_days_that_are_none(printed) -> None:
    assert "no readings and no exposures" in render(gather(printed.store, "2026-06-20"))
    for text in ("2026-6-1", "today", "2026-02-30", ""):
        with pytest.raises(Refusal) as found:
            day_bounds(text)
        assert found.value.code == 2


def test_no_exposures_yet(bindery) -> None:
    with pytest.raises(Refusal, match="no exposure in the journal yet"):
        newest_day(bindery.store)
    bindery.light(5, 100)
    assert "0 exposures" in render(gather(bindery.store, "2026-06-21"))


def test_sparks() -> None:
    assert spark([None, 0.0, 4.0, 8.0, -1.0], 8.0) == "·▁▅█▁"
    assert spark([0.0], 0.0) == "▁"
