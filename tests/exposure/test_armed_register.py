"""The register that is armed, on paper: the bench of `table`, one register sensor of 10 counts to the W/m²."""

from __future__ import annotations

import msgspec
import pytest
from exposure.table import PaperBench, us

from uvdose.exposure.arming import KEEP, wanted
from uvdose.exposure.button import button_means, is_timely
from uvdose.exposure.news import News, news_of
from uvdose.exposure.states import Act
from uvdose.model import Mark, RegisterReading

# 100 mJ/cm² are 1000 J/m²; at 50 W/m² that is 20 s, and 500 counts for 20 s are 10,000,000 counts x ms.
WHOLE = 10_000_000


def _wanted(paper: PaperBench) -> dict[int, int | None]:
    found = wanted(paper.bench.exposures.values(), paper.bench.channels["sill"])
    return {number: want.register for number, want in found.items()}


def test_it_stands_still_while_the_light_does_not() -> None:
    paper = PaperBench(lambda s: 50.0 if s < 15 else 10.0)
    begun = paper._sum
    paper.start(100.0)
    for second in range(paper.now, paper.now + 12):
        paper.pass_to(second)
        assert _wanted(paper)[1] == pytest.approx(begun + WHOLE, abs=1)


def test_a_start_between_two_lines_counts_from_its_own_mark() -> None:
    paper = PaperBench(lambda s: 50.0)
    begun = paper._sum
    paper.start(100.0, after_s=0.4)
    assert _wanted(paper)[1] == pytest.approx(begun + 200_000 + WHOLE, abs=1)
    paper.pass_to(paper.now + 3)
    assert _wanted(paper)[1] == pytest.approx(begun + 200_000 + WHOLE, abs=1)


def test_held_it_is_not_armed_and_resumed_it_is_armed_for_what_is_left() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(100.0)
    paper.pass_to(paper.now + 5)
    paper.keep(paper.bench.act(1, Act.HOLD, us(paper.now)))
    assert _wanted(paper) == {}
    paper.pass_to(paper.now + 30)
    paper.keep(paper.bench.act(1, Act.RESUME, us(paper.now)))
    paper.pass_to(paper.now + 1)
    assert _wanted(paper)[1] == pytest.approx(paper._sum - 500_000 + WHOLE * 15 / 20, abs=2)


def test_reached_it_stays_until_the_call_is_acknowledged() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(100.0, lead_s=0)
    paper.pass_to(paper.now + 22)
    assert wanted(paper.bench.exposures.values(), paper.bench.channels["sill"]) == {1: KEEP}
    paper.keep(paper.bench.quiet(1, us(paper.now)))
    assert _wanted(paper) == {}


def test_a_dark_reading_is_counted_by_the_register_as_well() -> None:
    paper = PaperBench(lambda s: 50.0)
    channel = paper.bench.channels["sill"]
    channel.track.response = msgspec.structs.replace(channel.track.response, zero=100.0)
    paper.start(100.0)
    paper.pass_to(paper.now + 2)
    # 400 of 500 counts are light: 25 s in all, of which 2 s are over; the register counts all 500 of them.
    assert _wanted(paper)[1] == pytest.approx(paper._sum + 23 * 500_000, abs=1)


def test_a_target_beyond_the_register_is_not_armed() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(1e15)
    paper.pass_to(paper.now + 2)
    assert _wanted(paper) == {}


def _line(presses: int, flags: int, boot: int = 9) -> RegisterReading:
    return RegisterReading(boot, 1, 1000, 0, 10_000_000, 0, presses, flags)


def test_news_are_presses_and_a_value_reached_of_one_power_up() -> None:
    paper = PaperBench(lambda s: 50.0)
    last = paper.bench.channels["sill"].track.last
    assert news_of("sill", None, _line(3, 4), 0) is None
    assert news_of("sill", last, _line(0, 3), 0) is None
    assert news_of("sill", last, _line(1, 4, boot=8), 0) is None
    got = news_of("sill", last, _line(2, 4), us(6))
    assert got is not None and (got.presses, got.called) == (2, True)


def test_the_moment_of_a_register_lies_straight_between_two_lines() -> None:
    news = News("sill", us(10), 1000, Mark(us(20), 9, 20_000, 2000), 0, True)
    assert [news.moment_us(r) for r in (900, 1000, 1250, 2000, 9000)] == [us(10), us(10), us(12.5), us(20), us(20)]


def test_what_a_press_means() -> None:
    paper = PaperBench(lambda s: 50.0)

    def means() -> str:
        return button_means(paper.bench.exposures.values(), "sill")[0]

    assert means() == "start"
    paper.start(100.0, count_in_s=3, lead_s=0)
    assert means() == "wait"
    paper.pass_to(paper.now + 5)
    assert means() == "hold"
    paper.start(1e6, number=2, frame="2")
    assert means() == "choose"
    paper.keep(paper.bench.act(2, Act.FINISH, us(paper.now)))
    paper.keep(paper.bench.act(1, Act.HOLD, us(paper.now)))
    assert means() == "resume"
    paper.keep(paper.bench.act(1, Act.RESUME, us(paper.now)))
    paper.pass_to(paper.now + 25)
    assert means() == "quiet"
    assert button_means(paper.bench.exposures.values(), "other")[0] == "start"


def _pressed(after_s: float) -> News:
    return News("sill", 0, 0, Mark(us(after_s), 9, 0, 0), 1, False)


def test_a_press_is_timely_within_two_seconds_or_three_intervals() -> None:
    assert is_timely(_pressed(2), us(0.2))
    assert not is_timely(_pressed(2.1), us(0.2))
    assert is_timely(_pressed(15), us(5))


def test_the_lines_behind_a_press_in_one_delivery_are_not_in_the_print() -> None:
    paper = PaperBench(lambda s: 50.0)
    begun = paper._sum
    paper.start(100.0)
    paper.pass_to(paper.now + 3)
    lines = []
    for presses in (0, 1, 1, 1):
        paper.now += 1
        line = paper.reading()
        assert isinstance(line, RegisterReading)
        lines.append(msgspec.structs.replace(line, presses=presses))
    out = paper.keep(paper.bench.take("sill", lines, us(paper.now)))
    held = paper.bench.exposures[1]
    assert held.state.value == "held" and held.acts[-1].cut.register == lines[1].register
    figures = held.figures(paper.bench.channels["sill"].track, us(paper.now))
    assert figures.dose == pytest.approx((lines[1].register - begun) / 1000 * 0.1)
    assert [f.name for f in out.facts] == ["held", "pressed"]
