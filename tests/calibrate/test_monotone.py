"""Monotone fits against published examples, scipy, and NIST's Thurber data."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression

from uvdose.calibrate.monotone import Monotone, isotonic

RPN14_X = [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20]
# NIST StRD Thurber: electron mobility against the log of density, with its certified rational cubic.
THURBER_X = [
    -3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322, -1.501, -1.460,
    -1.274, -1.212, -1.100, -1.046, -0.915, -0.714, -0.566, -0.545, -0.400, -0.309, -0.109, -0.103, 0.010, 0.119,
    0.377, 0.790, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.200,
]
THURBER_Y = [
    80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.060, 401.672, 390.724,
    567.534, 635.316, 733.054, 759.087, 894.206, 990.785, 1090.109, 1080.914, 1122.643, 1178.351, 1260.531, 1273.514,
    1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384, 1442.962, 1464.350, 1468.705, 1447.894, 1457.628,
]
THURBER_ABOVE = (1288.13968, 1491.0792535, 583.23836877, 75.416644291)
THURBER_BELOW = (1.0, 0.96629502864, 0.39797285797, 0.049727297349)
RPN14_Y = [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994]


def test_pool_adjacent_violators() -> None:
    """Busing 2020: [8,4,8,2,2,0,8]."""
    assert isotonic([8, 4, 8, 2, 2, 0, 8]).tolist() == [4, 4, 4, 4, 4, 4, 8]


def test_isotonic_agrees_with_scipy() -> None:
    rng = np.random.default_rng(21)
    for n in (1, 2, 7, 40):
        y, w = rng.normal(size=n) + np.linspace(0, 2, n), rng.uniform(0.1, 3, n)
        assert isotonic(y, w) == pytest.approx(isotonic_regression(y, weights=w).x, abs=1e-12)
        assert isotonic(y) == pytest.approx(isotonic_regression(y).x, abs=1e-12)


def test_monotone_cubic_on_rpn14() -> None:
    """Fritsch & Carlson 1980, data RPN14, values as in scipy's test_nag, to 5e-5."""
    curve = Monotone(RPN14_X, RPN14_Y)
    for x, y in ((9.191, 0.4640), (10.392, 0.9645), (11.593, 0.9965)):
        assert float(curve.value(x)) == pytest.approx(y, abs=5e-5)


def test_monotone_cubic_agrees_with_scipy() -> None:
    rng = np.random.default_rng(22)
    for n in (2, 3, 5, 30):
        x = np.cumsum(rng.uniform(0.05, 1, n))
        y = isotonic(rng.normal(size=n) + np.linspace(0, 3, n))
        grid = np.linspace(x[0], x[-1], 301)
        mine = Monotone(x, y)
        assert mine.value(grid) == pytest.approx(PchipInterpolator(x, y)(grid), abs=1e-12)
        assert np.all(np.diff(mine.value(grid)) >= -1e-12)


def test_points_that_do_not_rise_are_refused() -> None:
    with pytest.raises(ValueError):
        Monotone([0, 0, 1], [0, 1, 2])


def _thurber(x: np.ndarray) -> np.ndarray:
    return np.polynomial.polynomial.polyval(x, THURBER_ABOVE) / np.polynomial.polynomial.polyval(x, THURBER_BELOW)


def test_thurber_is_copied_right() -> None:
    """NIST StRD: the certified curve leaves 5642.7082397 of the data."""
    misses = np.array(THURBER_Y) - _thurber(np.array(THURBER_X))
    assert float(np.sum(misses**2)) == pytest.approx(5642.7082397, rel=1e-9)


def test_a_monotone_curve_follows_thurber() -> None:
    """Where there are data, not much farther from it than the data's own worst point (35; NIST: residual
    standard deviation 13.714). In the gap from -2.322 to -1.501 the data do not tell the shape: there it stays between
    its ends. Isotonic first, since the data fall back in several places.
    """
    x, y = np.array(THURBER_X), np.array(THURBER_Y)
    rising = isotonic(y)
    assert np.all(np.diff(rising) >= 0) and np.sum(np.diff(y) < 0) == 5
    curve = Monotone(x, rising)
    assert np.sqrt(np.mean((rising - _thurber(x)) ** 2)) < 13.714
    grid = np.linspace(x[0], x[-1], 400)
    gap = (grid > -2.322) & (grid < -1.501)
    misses = np.abs(curve.value(grid) - _thurber(grid))[~gap]
    assert np.max(misses) <= 1.5 * np.max(np.abs(y - _thurber(x)))
    assert np.sqrt(np.mean(misses**2)) < 13.714
    inside = curve.value(grid[gap])
    assert inside.min() >= 101.060 and inside.max() <= rising[12]
