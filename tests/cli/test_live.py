"""The parts of the live screen on paper: the graph, what fits, and what each key asks for."""

from __future__ import annotations

import msgspec
import pytest

from uvdose.cli.calibration.run import next_words
from uvdose.cli.hand import Ask, Hand
from uvdose.cli.light import MOST_POINTS, SPAN_S, Light, graph
from uvdose.cli.screen import Styled, fitted, live_lines
from uvdose.messages import ExposureDoc, Part, SensorDoc, StatusDoc, StepCall
from uvdose.stamps import from_iso

NOW = "2026-06-21T10:05:00.000Z"
NOW_US = from_iso(NOW)
S = 1_000_000


def _points(*pairs: tuple[float, float]) -> list[tuple[int, float]]:
    return sorted((NOW_US - int(ago * S), value) for ago, value in pairs)


def _exposure(number: int, state: str = "counting", part: Part | None = None, fraction: float = 0.4) -> ExposureDoc:
    return ExposureDoc(
        number, "blue", 1, "sill", str(number), state, "mJ/cm2", 2565.0, 1000.0, 990.0, 1010.0, fraction, 200.0, 0.0,
        0.0, 0.0, 0.0, None, None, None, 60.0, [], [], False, part=part,
    )


def _status(*exposures: ExposureDoc, age_s: float = 0.5, irradiance: float | None = 5.0) -> StatusDoc:
    sensor = SensorDoc("sill", "live", irradiance, "mW/cm2", age_s, [], 30, 0, 0)
    return StatusDoc("bindery", NOW, [sensor], list(exposures))


# -- the graph ---------------------------------------------------------------------------------------------------


def test_light_fills_its_height_zero_is_the_lowest_block_and_unknown_is_blank() -> None:
    steady = [(ago, 4.0) for ago in range(0, 300)]
    dark = [(ago, 0.0) for ago in range(300, 480)]
    upper, lower = graph(_points(*steady, *dark), NOW_US, 60)
    # ten seconds a column; what was before the first reading is not known
    assert lower == " " * 12 + "▁" * 18 + "█" * 30 and upper == " " * 30 + "█" * 30


def test_half_the_light_is_half_the_height() -> None:
    upper, lower = graph(_points(*[(a, 2.0 if a > 300 else 4.0) for a in range(0, 599)]), NOW_US, 60)
    assert upper[20] == " " and lower[20] == "█" and upper[50] == "█"


def test_silence_is_blank_and_a_slow_sensor_is_not_silent() -> None:
    _, lower = graph(_points(*[(a, 4.0) for a in range(200, 600)], *[(a, 4.0) for a in range(0, 100)]), NOW_US, 60)
    assert lower[42:50].strip() == "" and lower[39] == lower[51] == "█"
    _, lower = graph(_points(*[(a, 4.0) for a in range(0, 600, 60)]), NOW_US, 60)
    assert lower.lstrip() == "█" * len(lower.lstrip()) and len(lower.lstrip()) > 50


def test_no_light_at_all_and_less_than_none_can_be_drawn() -> None:
    for value in (0.0, -0.2):
        upper, lower = graph(_points(*[(a, value) for a in range(0, 600)]), NOW_US, 40)
        assert set(upper) == {" "} and set(lower) <= {"▁", " "}


def test_a_reading_is_taken_once_and_forgotten_after_ten_minutes() -> None:
    light = Light()
    light.begin("sill", _points((700, 9.0), (300, 4.0)))
    for _ in range(3):
        light.take(_status())
    (points,) = light._points.values()
    assert [v for _, v in points] == [4.0, 5.0] and NOW_US - points[0][0] <= SPAN_S * S
    assert points.maxlen == MOST_POINTS
    light.take(_status(irradiance=None))
    assert len(points) == 2


def test_a_window_without_room_has_no_graph() -> None:
    light = Light()
    light.begin("sill", _points((100, 1.0), (50, 1.0)))
    sensor = _status().sensors[0]
    assert light.lines(sensor, NOW_US, 30) == []
    assert all(len(line) <= 60 for line in light.lines(sensor, NOW_US, 60))


# -- what fits ---------------------------------------------------------------------------------------------------

FOOT: list[Styled] = [("", ""), ("h hold   Ctrl-C leaves", "hint")]


def test_the_keys_stay_when_not_all_fits_and_graphs_give_way_first() -> None:
    told = _status(_exposure(1), _exposure(2))
    graphs = {"sill": ["▁▁", "██"]}
    top = live_lines(told, 80, list(told.exposures), graphs)
    whole = fitted(top, FOOT, 80, 24)
    assert ("▁▁", "graph") in whole and whole[-1] == FOOT[1] and len(whole) <= 24
    tight = fitted(top, FOOT, 80, len(top))
    assert len(tight) <= len(top) and not [line for line in tight if line[1] == "graph"]
    assert any("2565" in line for line, _ in tight), "the prints are there"
    least = fitted(top, FOOT, 80, 5)
    assert len(least) == 5 and least[-1] == FOOT[1] and "more than fits" in least[-3][0]
    assert len(fitted(top, FOOT, 80, 1)) == 1


def test_several_prints_have_the_number_of_their_key() -> None:
    told = _status(_exposure(11), _exposure(12))
    lines = [line for line, _ in live_lines(told, 80, list(told.exposures), about=12)]
    assert any(line.startswith(" 1  11  frame 11") for line in lines)
    assert any(line.startswith(">2  12  frame 12") for line in lines)


# -- keys --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("key", "ask"), [
    ("h", Ask("hold", 1)), ("r", Ask("resume", 1)), ("q", Ask("quiet", None)), ("x", None), ("0", None), ("H", None),
    ("\n", None), (" ", None),
])
def test_keys(key: str, ask: Ask | None) -> None:
    assert Hand().press(key, _status(_exposure(1))) == ask


@pytest.mark.parametrize(("key", "act"), [("f", "finish"), ("u", "undo")])
def test_what_cannot_be_taken_lightly_is_asked_about(key: str, act: str) -> None:
    told = _status(_exposure(1))
    for answer in "nq\x1bf ":
        hand = Hand()
        assert hand.press(key, told) is None and hand.question == Ask(act, 1)
        assert hand.press(answer, told) is None and hand.question is None and hand.said == "nothing was done"
    hand = Hand()
    hand.press(key, told)
    assert hand.press("y", told) == Ask(act, 1) and hand.question is None


def test_the_newest_is_meant_until_one_is_chosen_and_then_that_one_also_when_it_has_ended() -> None:
    hand, told = Hand(), _status(_exposure(1), _exposure(2))
    assert hand.press("h", told) == Ask("hold", 2)
    hand.press("1", told)
    assert hand.press("h", told) == Ask("hold", 1)
    ended = _status(_exposure(1, "finished"), _exposure(2))
    assert [d.id for d in hand.shown(ended)] == [1, 2]
    hand.press("u", ended)
    assert hand.press("y", ended) == Ask("undo", 1)
    hand.press("9", ended)
    assert hand.press("h", ended) == Ask("hold", 1), "there is no ninth"


def test_without_a_print_there_is_nothing_to_act_on() -> None:
    hand = Hand()
    assert hand.press("h", _status()) is None and hand.bad
    assert hand.hint(_status()) == "Ctrl-C leaves"


def test_a_card_is_moved_at_a_strip_alone() -> None:
    hand = Hand()
    assert hand.press("c", _status(_exposure(1))) is None and "no test strip" in hand.said
    assert hand.press("c", _status(_exposure(1, part=Part("strip", "1")))) == Ask("card", 1)
    assert "c card moved" in hand.hint(_status(_exposure(1, part=Part("strip", "1"))))


@pytest.mark.parametrize(("fraction", "done", "words"), [
    (0.1, 0, "next: cover step 1 at 641.2 in about 0:10"), (0.3, 0, "NOW: cover step 1"),
    (0.3, 1, "next: cover step 2 at 1282 in about 0:17"),
    (0.6, 1, "NOW: cover step 2"), (0.6, 2, "next: cover it in about 1:00"), (1.0, 2, "NOW: cover it and take it in"),
])
def test_what_comes_next_at_a_strip(fraction: float, done: int, words: str) -> None:
    steps = (StepCall(0.25, "cover step 1"), StepCall(0.5, "cover step 2"))
    told = msgspec.structs.replace(_exposure(1), fraction=fraction)
    assert next_words(steps, told, done) == (words, words.startswith("NOW"))
