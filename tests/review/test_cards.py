"""The card of a strip, out of the journal: told, not told, twice, late; taken back; counted again bit for bit."""

from __future__ import annotations

import pytest

from uvdose.asked import Trial
from uvdose.calibrate.series import given, moments, plan_series
from uvdose.calibrate.sheet import evaluate
from uvdose.exposure.bench import Bench
from uvdose.exposure.record import Plan
from uvdose.exposure.setting import trial_target
from uvdose.exposure.states import Act
from uvdose.journal.replay import count_anew
from uvdose.messages import Part, StepCall
from uvdose.notes import Calibration, Seen, StripPlan
from uvdose.review.cards import Move, card_acts, card_moves
from uvdose.review.recount import recount

from .conftest import Bindery

SERIES = plan_series(50.0, 1.0, 3)  # 50, 100, 200 mJ/cm²: at 5 mW/cm² after 10, 20, 40 s
WORDS = {m.dose / 200: m.words for m in moments(SERIES, "cover")[:-1]}
COUNTS = 400  # 5 mW/cm²
TRIAL = Trial(200.0, "mJ/cm2", tuple(StepCall(share, words) for share, words in WORDS.items()))


def _strip(bindery: Bindery) -> int:
    bindery.light(30, COUNTS)
    now_us = bindery.clock.dose_us()
    plan = Plan(bindery.recorder.next_exposure(), trial_target("strip 1", TRIAL), "sill", "1",
                bindery.bench.channels["sill"].track.response, now_us, part=Part("strip", "1"))  # fmt: skip
    bindery.settle(bindery.bench.start(plan, now_us))
    return plan.id


def _after(bindery: Bindery, strip: int, *cards_s: int, finish_s: int = 40) -> list[Move]:
    """The card's moves, when it was told of at so many seconds."""
    at = 0
    for second in cards_s:
        bindery.light(second - at, COUNTS)
        bindery.act(strip, Act.CARD)
        at = second
    bindery.light(finish_s - at, COUNTS)
    bindery.act(strip, Act.FINISH)
    bindery.light(5, COUNTS)
    kept = bindery.store.exposure(strip)
    assert kept.document.settled and kept.document.dose == pytest.approx(finish_s * 5.0)
    return card_moves(bindery.store, kept)


def _doses(moves: list[Move]) -> list[tuple[float, bool]]:
    return [(round(m.dose, 6), m.told) for m in moves]


@pytest.mark.parametrize(("cards_s", "finish_s", "expected"), [
    ((10, 20), 40, [(50, True), (100, True)]),  # on the call
    ((12, 23), 41, [(60, True), (115, True)]),  # a little after
    ((), 40, [(50, False), (100, False)]),  # nobody told: as at the calls
    ((22,), 40, [(50, False), (110, True)]),  # the first was not told
    ((11,), 40, [(55, True), (100, False)]),
    ((11, 13, 21), 40, [(65, True), (105, True)]),  # said twice: the later holds
    ((11, 19), 40, [(55, True), (95, True)]),  # a second before its call
    ((16, 21), 40, [(80, True), (105, True)]),  # late: nearer to the next call, and still the answer to the first
    ((24, 25), 40, [(50, False), (125, True)]),  # twice at the second
    ((12, 23), 100, [(60, True), (115, True)]),  # a late finish changes nothing
    ((12,), 14, [(60, True), (70, False)]),  # taken in before the second call: that card was never moved
])  # fmt: skip
def test_moves(
    bindery: Bindery, cards_s: tuple[int, ...], finish_s: int, expected: list[tuple[float, bool]]
) -> None:
    strip = _strip(bindery)
    moves = _after(bindery, strip, *cards_s, finish_s=finish_s)
    assert _doses(moves) == expected
    assert [m.step for m in moves] == [1, 2]
    doses = given(SERIES, "cover", [*(m.dose for m in moves), finish_s * 5.0])
    assert doses == pytest.approx([*(dose for dose, _ in expected), finish_s * 5.0])
    assert recount(bindery.store, strip).same


def test_a_strip_taken_in_early_can_still_be_read(bindery: Bindery) -> None:
    strip = _strip(bindery)
    moves = _after(bindery, strip, 12, finish_s=14)
    got = given(SERIES, "cover", [*(m.dose for m in moves), 70.0])
    assert got == pytest.approx((60.0, 70.0, 70.0))
    for seen, best in ((Seen("right", right=1), 60.0), (Seen("right", right=3), 70.0), (Seen("picks", full=3), 64.8)):
        found = evaluate(Calibration(StripPlan(SERIES.doses), "mJ/cm2", seen=seen), got, 0.01)
        assert found.target.best == pytest.approx(best, abs=0.05)


def test_a_card_taken_back_is_as_if_it_was_not_told(bindery: Bindery) -> None:
    strip = _strip(bindery)
    bindery.light(12, COUNTS)
    bindery.act(strip, Act.CARD)
    number = next(a.number for a in bindery.store.acts(strip) if a.act is Act.CARD)
    bindery.db.execute("UPDATE act SET withdrawn = 1 WHERE exposure = ? AND number = ?", (strip, number))
    again = count_anew(bindery.store, bindery.store.exposure(strip)).exposure
    bindery.settle(bindery.bench.mend(again, "card taken back", bindery.clock.dose_us()))
    assert card_acts(bindery.store, bindery.store.exposure(strip)) == {}
    bindery.light(1, COUNTS)
    bindery.act(strip, Act.CARD)
    bindery.light(27, COUNTS)
    bindery.act(strip, Act.FINISH)
    bindery.light(5, COUNTS)
    assert _doses(card_moves(bindery.store, bindery.store.exposure(strip))) == [(65, True), (100, False)]
    assert next(f for f in bindery.store.events() if f.event == "step").data["words"] == "cover step 1"
    assert sum(e.event == "step" for e in bindery.store.events()) == 2, "no call comes twice after the repair"


def test_a_card_moved_while_the_strip_is_held_counts_what_it_had(bindery: Bindery) -> None:
    strip = _strip(bindery)
    bindery.light(11, COUNTS)
    bindery.act(strip, Act.HOLD)
    bindery.light(30, COUNTS)
    bindery.act(strip, Act.CARD)
    bindery.light(10, COUNTS)
    bindery.act(strip, Act.RESUME)
    bindery.light(10, COUNTS)
    bindery.act(strip, Act.CARD)
    bindery.light(20, COUNTS)
    bindery.act(strip, Act.FINISH)
    bindery.light(5, COUNTS)
    kept = bindery.store.exposure(strip)
    assert kept.document.dose == pytest.approx(205.0)
    assert _doses(card_moves(bindery.store, kept)) == [(55, True), (105, True)]
    assert recount(bindery.store, strip).same


def test_a_restart_keeps_calls_and_cards(bindery: Bindery) -> None:
    strip = _strip(bindery)
    bindery.light(12, COUNTS)
    bindery.act(strip, Act.CARD)
    bindery.light(2, COUNTS)
    bindery.settle(bindery.bench.link("sill", False, "gone", bindery.clock.dose_us()))
    counted = count_anew(bindery.store, bindery.store.exposure(strip))
    fresh = Bench()
    fresh.channels = bindery.bench.channels
    fresh.exposures[strip] = counted.exposure
    assert [a.act for a in counted.exposure.acts] == [Act.LIGHT, Act.CARD]
    assert "step:1" in counted.exposure.passed and "step:2" not in counted.exposure.passed
    bindery.bench = fresh
    bindery.light(8, COUNTS)
    bindery.act(strip, Act.CARD)
    bindery.light(18, COUNTS)
    bindery.act(strip, Act.FINISH)
    bindery.light(5, COUNTS)
    kept = bindery.store.exposure(strip)
    assert kept.document.dose == pytest.approx(200.0) and recount(bindery.store, strip).same
    assert _doses(card_moves(bindery.store, kept)) == [(60, True), (110, True)]
    assert [e.data["key"] for e in bindery.store.events() if e.event == "step"] == ["step:1", "step:2"]
