"""Minute means of the last light, held against integrals in closed form."""

from __future__ import annotations

import math

import pytest
from dose.light import us

from uvdose.dose.history import LightHistory


def _history(*points: tuple[float, float]) -> LightHistory:
    history = LightHistory()
    for t_s, value in points:
        history.add(us(t_s), value)
    return history


@pytest.mark.parametrize("step", [1, 7, 20, 60])
def test_a_straight_line_has_its_middle_as_mean(step: int) -> None:
    """Exact for any spacing: the mean of a straight line over a minute is its value at the middle of the minute."""
    end = 841 // step * step
    means = _history(*((t, 5.0 + 0.1 * t) for t in range(0, end + 1, step))).minutes()
    for k in range(end // 60):
        assert means[k] == pytest.approx(5.0 + 0.1 * (end - 60 * k - 30), rel=1e-12)


def test_a_half_sine() -> None:
    """Integral of sin over a minute, within the trapezoid's bound at a second."""
    means = _history(*((t, 50 * math.sin(math.pi * t / 3600)) for t in range(1000, 1901))).minutes()
    for k, mean in enumerate(means):
        a, b = (math.pi * (1900 - 60 * j) / 3600 for j in (k + 1, k))
        assert mean == pytest.approx(50 * (math.cos(a) - math.cos(b)) / (b - a), rel=1e-6)


def test_what_is_not_known_is_none() -> None:
    assert _history().minutes() == []
    assert _history((5, 3.0)).minutes()[:2] == [3.0, None]
    assert _history((0, 2.0), (10, 4.0)).minutes()[:2] == [3.0, None]
    means = _history(*((t, 1.0) for t in range(0, 301)), *((t, 2.0) for t in range(500, 701))).minutes()
    assert means[:3] == [2.0, 2.0, 2.0] and None in means[3:7] and means[8] == 1.0
