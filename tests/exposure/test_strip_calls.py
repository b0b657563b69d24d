"""A test strip on paper: its calls in order with their words, at the exact doses, and the card's acts."""

from __future__ import annotations

import math

import pytest
from exposure.table import PaperBench, us

from uvdose.asked import Trial
from uvdose.calibrate.series import Series, moments, plan_series
from uvdose.exposure.calls import PATTERNS, READY, READY_S, STEP
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.record import ActRecord, Plan
from uvdose.exposure.setting import trial_target
from uvdose.exposure.states import Act, State
from uvdose.messages import StepCall
from uvdose.model import Refusal

SERIES = plan_series(100.0, 1.0, 4)  # 100, 200, 400, 800 mJ/cm²: at 50 W/m² 20, 40, 80, 160 s
BEGAN = 5.0


def _trial(way: str = "cover", series: Series = SERIES) -> Trial:
    whole = series.doses[-1]
    steps = [StepCall(m.dose / whole, m.words) for m in moments(series, way) if 0 < m.dose < whole]  # type: ignore[arg-type]
    return Trial(whole, "mJ/cm2", tuple(steps))


def _strip(paper: PaperBench, way: str = "cover") -> Exposure:
    plan = Plan(1, trial_target("strip 1", _trial(way)), "sill", "1", paper.bench.channels["sill"].track.response,
                us(paper.now))  # fmt: skip
    paper.keep(paper.bench.start(plan, us(paper.now)))
    return paper.bench.exposures[1]


@pytest.mark.parametrize(("way", "at_s", "words"), [
    ("cover", [20, 40, 80], ["cover step 1", "cover step 2", "cover step 3"]),
    ("uncover", [80, 120, 140], ["uncover step 3", "uncover step 2", "uncover step 1"]),
])  # fmt: skip
def test_step_calls_come_in_order_at_the_exact_dose_with_their_words(
    way: str, at_s: list[float], words: list[str]
) -> None:
    paper = PaperBench(lambda s: 50.0)
    _strip(paper, way)
    paper.pass_to(170)
    steps = [f for f in paper.facts if f.name == STEP]
    assert [f.t_us / 1e6 for f in steps] == [pytest.approx(BEGAN + t, abs=1e-3) for t in at_s]
    assert [f.data["words"] for f in steps] == words
    assert [f.data["dose"] for f in steps] == [pytest.approx(t * 5.0) for t in at_s]
    assert paper.times("reached") == [pytest.approx(BEGAN + 160, abs=1e-3)]
    rings = [r for out in paper.outcomes for r in out.rings]
    assert [r.text for r in rings if r.kind == STEP] == [
        f"{w} now: strip 1, frame 1, {int(t / 1.6 + 1e-9)} %" for w, t in zip(words, at_s, strict=True)
    ]
    assert all(not r.insist for r in rings if r.kind in (STEP, READY)), "only the end is insisted on"


def test_a_hand_is_called_for_eight_seconds_before_each_step_and_none_at_the_very_start() -> None:
    paper = PaperBench(lambda s: 50.0)
    _strip(paper)
    paper.pass_to(170)
    ready = [f for f in paper.facts if f.name == READY]
    assert [f.t_us / 1e6 for f in ready] == [pytest.approx(BEGAN + t - READY_S, abs=1e-3) for t in (20, 40, 80)]
    first = next(r for out in paper.outcomes for r in out.rings if r.kind == READY)
    assert first.text.startswith("in a moment cover step 1: strip 1, frame 1, ")
    kinds = [r.kind for out in paper.outcomes for r in out.rings if r.kind in (STEP, READY)]
    assert kinds == [READY, STEP] * 3
    assert PATTERNS[STEP] != PATTERNS[READY], "they sound different"

    soon = PaperBench(lambda s: 200.0)  # steps after 5, 10, 20 s: the person's hand is still there
    _strip(soon)
    soon.pass_to(26)
    calls = [f.data["key"] for f in soon.facts if f.name in (READY, STEP)]
    assert calls == ["step:1", "step:2", "ready:3", "step:3"], "no hand is called for before the step before is done"


def test_calls_follow_the_light_not_the_clock() -> None:
    paper = PaperBench(lambda s: 50.0 if s < 15 or s > 75 else 5.0)
    _strip(paper)
    paper.pass_to(150)
    truth = [0.0]
    for second in range(6, 151):
        truth.append(truth[-1] + (50.0 if second < 15 or second > 75 else 5.0) / 10)
    for fact, dose in zip([f for f in paper.facts if f.name == STEP], (100.0, 200.0, 400.0), strict=True):
        second = next(i for i, at in enumerate(truth) if at >= dose - 1e-9)
        inside = (dose - truth[second - 1]) / (truth[second] - truth[second - 1])
        # predicted at the light of the last reading, so at most one reading off when the light has just changed
        assert fact.t_us / 1e6 == pytest.approx(BEGAN + second - 1 + inside, abs=1e-3)


@pytest.mark.parametrize("state", [State.COUNTING, State.HELD, State.REACHED])
def test_the_card_changes_no_state_and_no_dose(state: State) -> None:
    paper, twin = PaperBench(lambda s: 50.0), PaperBench(lambda s: 50.0)
    both = [(p, _strip(p)) for p in (paper, twin)]
    end = 170 if state is State.REACHED else 30
    for p, _ in both:
        p.pass_to(end)
        if state is State.HELD:
            p.keep(p.bench.act(1, Act.HOLD, us(end) + 300_000))
            p.pass_to(end + 3)
    paper.keep(paper.bench.act(1, Act.CARD, us(paper.now) + 400_000))
    assert both[0][1].state is state
    for p, _ in both:
        p.pass_to(end + 10)
        p.keep(p.bench.act(1, Act.FINISH, us(p.now) + 500_000))
        p.pass_to(end + 14)
    (_, carded), (_, plain) = both
    assert carded.settled and plain.settled
    assert carded.account.figures() == plain.account.figures()
    [card] = [f for f in paper.facts if f.name == "card"]
    assert card.data["unit"] == "mJ/cm2"
    lit_s = 170.4 - BEGAN if state is State.REACHED else 30.3 - BEGAN if state is State.HELD else 30.4 - BEGAN
    assert card.data["dose"] == pytest.approx(lit_s * 5.0, rel=1e-6)


def test_a_cards_mark_is_exact_on_a_register_node() -> None:
    paper = PaperBench(lambda s: 30.0 + 20 * math.sin(s))
    strip = _strip(paper)
    paper.pass_to(20)
    paper.keep(paper.bench.act(1, Act.CARD, us(20) + 800_000))
    paper.pass_to(22)
    [card] = [a for a in strip.acts if a.act is Act.CARD]
    assert isinstance(card, ActRecord) and card.refined is not None, "the next line within a quarter second fixes it"
    assert (card.refined.uptime_ms, card.refined.register) == (21_000, sum(
        round((30.0 + 20 * math.sin(s)) * 10) * 1000 for s in range(1, 22)
    ))
    assert any(act == "sill" for out in paper.outcomes for act in out.asks), "`now` is asked for at the act"


@pytest.mark.parametrize("act", [None, Act.FINISH, Act.VOID])
def test_no_card_where_there_is_no_light(act: Act | None) -> None:
    paper = PaperBench(lambda s: 50.0)
    if act is None:
        paper.start(100.0, count_in_s=10)
    else:
        _strip(paper)
        paper.pass_to(10)
        paper.keep(paper.bench.act(1, act, us(10)))
    with pytest.raises(Refusal):
        paper.bench.act(1, Act.CARD, us(paper.now) + 1)


@pytest.mark.parametrize(("shares", "why"), [
    ((0.5, 0.4), "rising"), ((0.5, 0.5), "rising"), ((0.0, 0.5), "between 0 and 1"), ((0.5, 1.0), "between 0 and 1"),
    (tuple(i / 30 for i in range(1, 25)), "at most"), ((math.nan,), "rising"),
])  # fmt: skip
def test_steps_that_cannot_be_meant_are_refused(shares: tuple[float, ...], why: str) -> None:
    with pytest.raises(Refusal, match=why):
        trial_target("strip 1", Trial(100.0, "mJ/cm2", tuple(StepCall(s, "cover") for s in shares)))
    with pytest.raises(Refusal, match="calibration print"):
        trial_target("strip one", Trial(100.0, "mJ/cm2"))
    with pytest.raises(Refusal, match="printable"):
        trial_target("strip 1", Trial(100.0, "mJ/cm2", (StepCall(0.5, "cover\n"),)))
