"""The S-curve: its closed forms, its fit against scipy and NIST's Rat42, and a misread step."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares
from support.curves import points_of

from uvdose.calibrate.curve import SCurve, fit_many, points_many
from uvdose.units import STOP_LOG10

ANALYTIC = SCurve(0.06, 1.64, 2.2, 1.5)
RAT42_Y = [8.930, 10.800, 18.590, 22.330, 39.350, 56.110, 61.730, 64.620, 67.080]
RAT42_X = [9.0, 14.0, 21.0, 28.0, 42.0, 57.0, 63.0, 70.0, 79.0]


def points(curve: SCurve) -> tuple[float, ...]:
    """Of one curve: HT, HS and full tone."""
    row = np.array([[curve.d_min, curve.d_net, curve.k, curve.x0, curve.skew]])
    return tuple(float(found[0]) for found in points_many(row))


def test_points_of_the_analytic_curve() -> None:
    """Closed form: log HT, HS and R of the curve with Dmin .06, Dn 1.64, k 2.2, x0 1.5."""
    ht, hs, _ = points(ANALYTIC)
    assert (ht, hs) == pytest.approx((0.771791, 1.933747), abs=1e-6)
    assert 100 * (hs - ht) == pytest.approx(100 / 2.2 * (math.log10(9) + math.log10(1.64 / 0.04 - 1)), abs=1e-9)


def test_full_tone_lies_beyond_the_shoulder() -> None:
    """Full tone, 0.05 below the deepest, lies 0.83 stop beyond the 90 % point of ISO 6846 on that curve."""
    _, hs, full = points(ANALYTIC)
    assert (full - hs) / STOP_LOG10 == pytest.approx(0.83, abs=0.005)
    assert float(ANALYTIC.density(full)[0]) == pytest.approx(ANALYTIC.d_max - 0.05, abs=1e-12)


@pytest.mark.parametrize("skew", [0.5, 1.0, 2.5])
def test_the_curve_has_their_densities_there(skew: float) -> None:
    curve = SCurve(0.06, 1.64, 2.2, 1.5, skew)
    assert points(curve) == pytest.approx(points_of(curve), abs=1e-12)
    assert curve.density(np.array(points(curve))) == pytest.approx([0.10, 0.06 + 0.9 * 1.64, 1.65], abs=1e-9)


def test_no_points_where_the_curve_has_none() -> None:
    """Net density 0.03 does not reach 0.04 above the base."""
    assert math.isnan(points(SCurve(0.05, 0.03, 2, 1))[0])


def test_noiseless_steps_give_the_curve_back() -> None:
    x = np.linspace(0, 3, 21)
    fitted = fit_many(x, ANALYTIC.density(x)).curve()
    assert (fitted.d_min, fitted.d_net, fitted.k, fitted.x0) == pytest.approx((0.06, 1.64, 2.2, 1.5), rel=1e-6)


def test_rat42() -> None:
    """NIST StRD Rat42, y = b1 / (1 + exp(b2 - b3 x)), plain least squares, to eight digits."""
    fits = fit_many(np.array(RAT42_X), np.array(RAT42_Y), 0.0, robust=False, tol=1e-12)
    curve = fits.curve()
    b3 = curve.k * math.log(10)
    assert curve.d_net == pytest.approx(72.462237576, rel=1e-8)
    assert curve.x0 * b3 == pytest.approx(2.6180768402, rel=1e-8)
    assert b3 == pytest.approx(0.067359200066, rel=1e-8)
    assert fits.rss[0] == pytest.approx(8.0565229338, rel=1e-9)


def test_a_batch_of_plain_fits_agrees_with_scipy() -> None:
    rng = np.random.default_rng(11)
    x = np.linspace(0, 3, 21)
    y = ANALYTIC.density(x) + rng.normal(0, 0.02, (20, 21))
    fits = fit_many(x, y, robust=False, tol=1e-10)
    for row, params in zip(y, fits.params, strict=True):
        reference = least_squares(
            lambda p, row=row: p[0] + p[1] / (1 + 10 ** (-p[2] * (x - p[3]))) - row,
            (0.1, 1.5, 2.0, 1.4), xtol=1e-12, ftol=1e-12, gtol=1e-12,
        )
        assert params[:4] == pytest.approx(reference.x, rel=1e-5)


@pytest.mark.parametrize("step", range(21))
@pytest.mark.parametrize("off", [-0.3, 0.3])
def test_one_misread_step_does_not_bend_the_curve(step: int, off: float) -> None:
    """The robust fit moves full tone by less than 1/20 stop for a step misread by 0.3; noise 0.01."""
    rng = np.random.default_rng(12)
    x = np.linspace(0, 3, 21)
    y = ANALYTIC.density(x) + rng.normal(0, 0.01, 21)
    clean = points_of(fit_many(x, y).curve())
    y[step] += off
    bent = points_of(fit_many(x, y).curve())
    assert abs(bent.full - clean.full) < STOP_LOG10 / 20
    assert abs(bent.ht - clean.ht) < STOP_LOG10 / 20


def test_a_plain_fit_would_bend() -> None:
    """The test above can fail: least squares goes along with the misread step."""
    x = np.linspace(0, 3, 21)
    y = ANALYTIC.density(x)
    y[14] -= 0.3
    bent = points_of(fit_many(x, y, robust=False).curve())
    true = points_of(ANALYTIC)
    assert abs(bent.full - true.full) > STOP_LOG10 / 10


def test_steps_that_were_not_read_have_no_say() -> None:
    x = np.linspace(0, 3, 21)
    y = ANALYTIC.density(x)
    y[[3, 9, 10, 17]] = np.nan
    assert fit_many(x, y).curve().x0 == pytest.approx(1.5, abs=1e-6)


def test_a_lopsided_curve_is_found_when_it_may_be() -> None:
    x = np.linspace(0, 3, 31)
    true = SCurve(0.06, 1.5, 2.0, 1.4, 2.0)
    fitted = fit_many(x, true.density(x), skewed=True, robust=False, noise=0.001).curve()
    assert np.max(np.abs(fitted.density(x) - true.density(x))) < 0.002
