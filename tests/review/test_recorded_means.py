"""Arrays of a day whose readings are means: flat over each stretch, straight over what none covers.

Oracle: sums over single seconds in numpy, each with the light that the means say (the definition of a mean).
"""

from __future__ import annotations

import numpy as np
import pytest

from uvdose.review.day_curve import curve
from uvdose.review.recorded import FOREVER, Part, Recorded

S = 1_000_000


def means(spans_s: list[int], holes_s: list[int], light: list[float], full: list[float] | None = None) -> Recorded:
    """Means one after the other, each after a hole; they begin at 1000 s."""
    ends = 1000 + np.cumsum(np.array(spans_s) + np.array(holes_s))
    flat = np.array(spans_s, dtype=np.int64) * S
    at_full = np.zeros(len(ends)) if full is None else np.array(full)
    return Recorded("roof", "mW/cm2", [Part(ends * S, ends * S, np.array(light), flat, at_full)])


def seconds(spans_s: list[int], holes_s: list[int], light: list[float]) -> np.ndarray:
    """The light of each second from the end of the first mean on."""
    found: list[float] = []
    for span_s, hole_s, before, value in zip(spans_s[1:], holes_s[1:], light, light[1:], strict=False):
        found += [before + (value - before) * (k + 0.5) / hole_s for k in range(hole_s)] + [value] * span_s
    return np.array(found)


SPANS, HOLES, LIGHT = [60, 60, 30, 90, 60], [0, 0, 20, 0, 45], [1.0, 4.0, 2.0, 7.0, 3.0]


def test_doses_are_those_of_the_seconds() -> None:
    read, each = means(SPANS, HOLES, LIGHT), seconds(SPANS, HOLES, LIGHT)
    begin_us = 1060 * S
    ends = begin_us + np.arange(len(each) + 1) * S
    assert read.dose_until(ends) - read.dose_until(np.array([begin_us])) == pytest.approx(
        np.concatenate([[0.0], np.cumsum(each)]), abs=1e-9
    )
    assert read.area.sum() == pytest.approx(each.sum())
    assert read.straight(begin_us + np.arange(len(each)) * S + S // 2)[:60] == pytest.approx(each[:60])
    assert read.light_at(1090 * S) == 4.0 and read.light_at(1500 * S) is None


def test_a_long_mean_is_no_pause_and_what_it_does_not_cover_is() -> None:
    read = means([3600] * 5, [0, 0, 0, 900, 0], [1.0, 2.0, 2.0, 3.0, 3.0])
    assert read.holes(0, 1 << 60).tolist() == [900 * S]
    assert read.light_at(3000 * S) is None, "the first mean has no reading before it: its stretch is not reckoned"
    assert read.light_at(6000 * S) == 2.0 and read.reaches(4600 * S, 8200 * S)
    minutes = means([60] * 5, [0, 0, 900, 0, 0], [1.0] * 5)
    [hole] = curve(minutes, 1060 * S, 2200 * S).holes
    assert hole == (60, 60 + 900 + 60), "from one reading to the next, in seconds of the day's span"


def test_time_at_full_scale_is_that_of_its_means() -> None:
    read = means(SPANS, HOLES, LIGHT, [0.0, 1.0, 0.0, 1.0, 0.0])
    assert read.full_s(0, 1 << 60) == 60 + 90


def test_a_line_of_a_node_tells_all_since_the_one_before() -> None:
    times = np.array([0, 10, 40]) * S
    line = Part(times, times, np.array([9.0, 2.0, 5.0]), np.full(3, FOREVER), np.zeros(3))
    assert Recorded("sill", "mW/cm2", [line]).area.tolist() == [0.0, 20.0, 150.0]
