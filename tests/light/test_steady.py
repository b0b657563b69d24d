"""Since when a lamp is steady: against the closed form of an exponential that settles."""

from __future__ import annotations

import math

import pytest

from uvdose.light.steady import EVERY_S, since_when

PACE_S, DEPTH = 120.0, 0.4


def _lamp(until_s: float, off_s: float = 0.0) -> tuple[list[float], list[float]]:
    """Once a second: dark, then light that nears 100 as 1 - 0.4 exp(-t / 120 s)."""
    at = [float(t) for t in range(int(off_s + until_s) + 1)]
    return at, [0.0 if t < off_s else 100 * (1 - DEPTH * math.exp(-(t - off_s) / PACE_S)) for t in at]


def _change(end_s: float, window_s: float = 120.0) -> float:
    """Slope of the least-squares line over the window that ends there, times the window, over the mean: numerically."""
    t = [end_s - window_s + k * window_s / 1000 for k in range(1001)]
    y = [1 - DEPTH * math.exp(-s / PACE_S) for s in t]
    mt, my = sum(t) / len(t), sum(y) / len(y)
    slope = sum((a - mt) * (b - my) for a, b in zip(t, y, strict=True)) / sum((a - mt) ** 2 for a in t)
    return slope * window_s / my


def test_steady_since() -> None:
    """Steady from the first end of a window over which the light changes by less than 2 %, give or take the steps of
    ten seconds and what the line's own doubt adds."""
    first = next(s for s in range(120, 2000) if _change(s) < 0.02)
    found = since_when(*_lamp(900.0, off_s=60.0))
    assert found.on_s == pytest.approx(900.0, abs=1.0) and found.now.steady
    assert found.since_s is not None
    assert 900.0 - found.since_s == pytest.approx(first, abs=2 * EVERY_S)


def test_not_steady_yet_and_when_it_will_be() -> None:
    found = since_when(*_lamp(200.0, off_s=30.0))
    assert found.since_s is None and found.now.steady is False and found.now.change > 0.05
    assert found.now.settles_in_s is not None
    first = next(s for s in range(120, 2000) if _change(s) < 0.02)
    assert 200.0 + found.now.settles_in_s == pytest.approx(first, abs=30.0)


def test_on_before_the_readings_begin() -> None:
    at = [float(t) for t in range(600)]
    found = since_when(at, [50.0] * 600)
    assert found.on_s is None and found.since_s == pytest.approx(599 - 0.8 * 120, abs=EVERY_S)
    with pytest.raises(ValueError, match="no light"):
        since_when(at, [0.0] * 600)
