"""The ordinal model against what is known outside: scipy's normal, a table, a closed form, numerical integration."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from scipy.stats import t as student

from uvdose.calibrate import ordinal
from uvdose.calibrate.ordinal import Eye, Seen, likelihood, normal_below, posterior


def test_the_normal_is_scipys() -> None:
    z = np.linspace(-8.5, 8.5, 1001)
    assert normal_below(z) == pytest.approx(norm.cdf(z), rel=3e-5)


def test_a_print_by_hand_from_the_normal_table() -> None:
    # Noise sd 0.15 of 0.12 and 0.09, window 0.15: at the right dose a third is outside, half of that on each side;
    # 0.30 stop too dark lies one sd beyond the window. Source: any table of the normal, 0.6827, 0.1587, 0.8413.
    eye = Eye(judging_stops=0.12, spread_stops=0.09, window_stops=0.15, slip=0.0)
    at = np.array([0.0])
    assert likelihood(at, Seen(0.0, 0), eye)[0] == pytest.approx(0.6827, abs=5e-5)
    assert likelihood(at, Seen(0.0, 1), eye)[0] == pytest.approx(0.1587, abs=5e-5)
    assert likelihood(at, Seen(0.3, 1), eye)[0] == pytest.approx(0.8413, abs=5e-5)
    assert likelihood(at, Seen(0.3, -1), eye)[0] == pytest.approx(1 - norm.cdf(3.0), abs=1e-7)


def test_probit_posterior_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    # A normal prior and one probit answer: mean m - s²/sqrt(s²+v²) pdf(a)/cdf(a), a = (x - m - w)/sqrt(s²+v²).
    # Source: Rasmussen & Williams, Gaussian Processes for Machine Learning, eq. 3.85. s 0.2, v 0.15, w 0.15, x = m:
    # a = -0.6, pdf 0.3332, cdf 0.2743 (table), so the mean moves by -0.16 x 1.2150 = -0.1944.
    monkeypatch.setattr(ordinal, "PRIOR_DOF", 1e9)
    eye = Eye(judging_stops=0.12, spread_stops=0.09, window_stops=0.15, slip=0.0)
    assert posterior(11.0, 0.2, [Seen(11.0, 1)], eye).mean - 11 == pytest.approx(-0.1944, abs=2e-4)


CASES = [
    [Seen(0.0, 1)],
    [Seen(0.0, 1), Seen(-0.4, 0), Seen(-0.3, -1)],
    [Seen(0.1, 0, 0.05), Seen(0.0, 1, 0.02, 0.5), Seen(-0.5, -1, 0.0, -0.2, 0.1)],
    [Seen(2.0, 1), Seen(1.0, 1), Seen(-1.0, 1)],
]


@pytest.mark.parametrize("prints", CASES)
def test_the_posterior_is_what_quad_gives(prints: list[Seen]) -> None:
    """Mean and both quantiles. Source: scipy.integrate.quad, scipy.stats norm and t."""
    eye, scale = Eye(), 0.35

    def density(theta: float) -> float:
        p = float(student.pdf(theta / scale, 4))
        for s in prints:
            off, common = s.log2_dose - theta, eye.spread_stops**2 + s.dose_u_stops**2
            if s.stops is None:
                sd = math.sqrt(common + eye.judging_stops**2)
                above, below = norm.sf((eye.window_stops - off) / sd), norm.cdf((-eye.window_stops - off) / sd)
                p *= 0.99 * (above if s.side > 0 else below if s.side < 0 else 1 - above - below) + 0.01 / 3
            else:
                guess = math.hypot(eye.judging_stops, 0.25 * s.stops, 0.25 / math.sqrt(12))
                own = s.stops_u if s.stops_u is not None else guess
                p *= 0.99 * norm.pdf(s.stops, off, math.sqrt(common + own**2)) + 0.01 / 4
        return p

    found = posterior(0.0, scale, prints, eye)
    cuts = list(np.linspace(-7, 7, 57))

    def integral(f: Callable[[float], float], to: float) -> float:
        edges = [c for c in cuts if c < to] + [to]
        return sum(quad(f, a, b, epsabs=1e-11)[0] for a, b in pairwise(edges))

    total = integral(density, 7.0)
    assert found.mean == pytest.approx(integral(lambda x: x * density(x), 7.0) / total, abs=3e-3)
    assert integral(density, found.low) / total == pytest.approx(0.025, abs=1e-3)
    assert integral(density, found.high) / total == pytest.approx(0.975, abs=1e-3)
