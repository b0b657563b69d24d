"""A press beside other acts and calls, on paper: what it may do is told by when it was, not by when it was heard."""

from __future__ import annotations

import msgspec
import pytest
from exposure.table import PaperBench, us

from uvdose.exposure.outcome import Outcome
from uvdose.exposure.states import Act, State
from uvdose.model import RegisterReading


def _line(paper: PaperBench, before_s: float, presses: int = 1) -> RegisterReading:
    """The next line, sent early because of a press."""
    paper.now += 1
    line = paper.reading()
    assert isinstance(line, RegisterReading)
    back_ms = round(before_s * 1000)
    return msgspec.structs.replace(
        line, uptime_ms=line.uptime_ms - back_ms, presses=presses, register=line.register - back_ms * 500
    )


def _take(paper: PaperBench, *lines: RegisterReading) -> Outcome:
    return paper.keep(paper.bench.take("sill", list(lines), us(paper.now)))


@pytest.mark.parametrize("page_s", [0.01, 0.1, 0.2])
def test_a_hold_by_thumb_and_by_phone_at_once_is_one_hold(page_s: float) -> None:
    """The page is quicker than the line that tells the press: the press took a held print up again, before its hold."""
    paper = PaperBench(lambda s: 50.0)
    paper.start(1e5)
    paper.pass_to(paper.now + 3)
    line = _line(paper, 0.3)
    paper.keep(paper.bench.act(1, Act.HOLD, us(paper.now - 0.3 + page_s)))
    out = _take(paper, line)
    one = paper.bench.exposures[1]
    assert one.state is State.HELD and [a.act for a in one.acts] == [Act.LIGHT, Act.HOLD]
    assert [f.name for f in out.facts] == ["pressed"] and out.presses[0].refused


def test_a_press_from_before_a_start_does_not_hold_it() -> None:
    paper = PaperBench(lambda s: 50.0)
    line = _line(paper, 0.3)
    paper.start(1e5, after_s=-0.1)
    _take(paper, line)
    one = paper.bench.exposures[1]
    assert one.state is State.COUNTING and [a.act for a in one.acts] == [Act.LIGHT]


@pytest.mark.parametrize("after_s", [-0.1, -0.2])
def test_a_hold_by_phone_just_before_the_thumb_is_one_hold(after_s: float) -> None:
    """Nobody takes up again what was held a fifth of a second ago: two hands meant the same."""
    paper = PaperBench(lambda s: 50.0)
    paper.start(1e5)
    paper.pass_to(paper.now + 3)
    paper.keep(paper.bench.act(1, Act.HOLD, us(paper.now + 1 + after_s)))
    _take(paper, _line(paper, 0.0))
    assert paper.bench.exposures[1].state is State.HELD


@pytest.mark.parametrize("after_s", [-0.006, 0.0, 0.05, 0.6])
def test_a_press_right_after_a_start_holds_it(after_s: float) -> None:
    """Also where the node's time, as we know it, has the press some milliseconds before: no light lies in between."""
    paper = PaperBench(lambda s: 50.0)
    paper.start(1e5, after_s=1 - after_s)
    _take(paper, _line(paper, 0.0))
    paper.pass_to(paper.now + 3)
    one = paper.bench.exposures[1]
    assert one.state is State.HELD
    dose = one.figures(paper.bench.channels["sill"].track, us(paper.now)).dose
    assert 0 <= dose <= 50.0 * max(0.0, after_s) + 1e-9
    assert [a.when_us for a in one.acts] == sorted(a.when_us for a in one.acts)


def test_a_press_after_an_act_takes_it_back() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(1e5)
    paper.pass_to(paper.now + 3)
    paper.keep(paper.bench.act(1, Act.HOLD, us(paper.now + 0.2)))
    _take(paper, _line(paper, 0.3))
    assert paper.bench.exposures[1].state is State.COUNTING


def test_a_press_from_before_the_call_holds_and_does_not_answer_it() -> None:
    """Nothing is heard for some seconds, the target is called by the light that was to be expected; then the lines
    of the hole come, and in them a press from before: the sheet was taken out, and the target not reached.
    """
    paper = PaperBench(lambda s: 50.0)
    begun = paper._sum
    paper.start(100.0)  # 20 s
    paper.pass_to(paper.now + 17)
    lines = []
    for presses in (1, *[1] * 6):
        paper.now += 1
        line = paper.reading()
        assert isinstance(line, RegisterReading)
        lines.append(msgspec.structs.replace(line, presses=presses))
        paper.keep(paper.bench.tick(us(paper.now)))
    one = paper.bench.exposures[1]
    assert one.state is State.REACHED and one.open_calls
    _take(paper, *lines)
    assert one.state is State.HELD and one.acts[-1].cut.register == lines[0].register
    assert one.reached_us is None and not one.open_calls
    figures = one.figures(paper.bench.channels["sill"].track, us(paper.now))
    assert figures.dose == pytest.approx((lines[0].register - begun) / 1000 * 0.1)


def test_what_no_thumb_makes_is_no_press() -> None:
    """A contact that bounces, or a counter that runs away: it holds nothing, and silences no call."""
    paper = PaperBench(lambda s: 50.0)
    paper.start(100.0, lead_s=0)
    paper.pass_to(paper.now + 3)
    out = _take(paper, _line(paper, 0.0, presses=1_000_001))
    one = paper.bench.exposures[1]
    assert one.state is State.COUNTING and "thumb" in out.presses[0].refused
    while one.state is not State.REACHED:
        _take(paper, _line(paper, 0.0, presses=1_000_001))
    _take(paper, _line(paper, 0.0, presses=3_000_001))
    assert one.open_calls
    _take(paper, _line(paper, 0.0, presses=3_000_002))
    assert not one.open_calls
