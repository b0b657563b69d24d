"""Momentary values against closed forms, handbook bounds and scipy; units against the SI."""

from __future__ import annotations

import math

import numpy as np
import pytest
from dose.light import count, moments
from scipy.integrate import cumulative_trapezoid

from uvdose import units
from uvdose.config import SensorSettings
from uvdose.dose.response import response_of
from uvdose.model import Refusal


def _sampled(f, seconds: float, n: int):  # type: ignore[no-untyped-def]
    return moments([(seconds * i / n, f(seconds * i / n)) for i in range(n + 1)])


@pytest.mark.parametrize("n", [3600, 21600])
def test_half_sine_day(n: int) -> None:
    # Source: closed form H = 2 E0 T / pi, trapezoid / exact = (pi / 2n) cot(pi / 2n); E0 50 W/m², T 6 h.
    peak, seconds = 50.0, 21600.0
    account = count(_sampled(lambda t: peak * math.sin(math.pi * t / seconds), seconds, n), 0, seconds)
    exact = 2 * peak * seconds / math.pi
    assert exact == pytest.approx(687549.354, abs=5e-4)
    assert account.figures().dose / exact == pytest.approx(math.pi / (2 * n) / math.tan(math.pi / (2 * n)), rel=1e-11)


def test_half_sine_published_error() -> None:
    # Source: the same closed form; at n = 360 the trapezoid falls short by 6.35e-6.
    peak, seconds, n = 50.0, 3600.0, 360
    account = count(_sampled(lambda t: peak * math.sin(math.pi * t / seconds), seconds, n), 0, seconds)
    assert account.figures().dose / (2 * peak * seconds / math.pi) - 1 == pytest.approx(-6.35e-6, rel=2e-3)


@pytest.mark.parametrize(("step_s", "error"), [(1, 9.46e-5), (10, 9.42e-3)])
def test_cloud_edge(step_s: int, error: float) -> None:
    # Source: closed form H = E1 T + (E0-E1) tau (1-exp(-T/tau)); E1 10, E0 60, tau 20 s, T 120 s; and the
    # handbook bound of the trapezoid, (b-a) h² / 12 max |f''|.
    low, high, tau, seconds = 10.0, 60.0, 20.0, 120.0
    exact = low * seconds + (high - low) * tau * (1 - math.exp(-seconds / tau))
    assert exact == pytest.approx(2197.521248, abs=1e-6)
    f = lambda t: low + (high - low) * math.exp(-t / tau)  # noqa: E731
    dose = count(_sampled(f, seconds, round(seconds / step_s)), 0, seconds).figures().dose
    assert dose / exact - 1 == pytest.approx(error, rel=5e-3)
    assert abs(dose - exact) <= seconds * step_s**2 / 12 * (high - low) / tau**2


def test_equals_scipy_at_every_reading() -> None:
    # Source: scipy.integrate.cumulative_trapezoid.
    rng = np.random.default_rng(20160617)
    times = np.cumsum(rng.integers(200_000, 2_000_000, 500)) / 1e6
    values = rng.uniform(0, 60, 500)
    reference = cumulative_trapezoid(values, times, initial=0)
    rows = moments(list(zip(times.tolist(), values.tolist(), strict=True)))
    for upto in (2, 10, 499):
        dose = count(rows, times[0], times[upto]).figures().dose
        assert dose == pytest.approx(reference[upto], rel=1e-9)


def test_units_are_si() -> None:
    # Source: SI: 1 mJ/cm² = 10 J/m², 1 mW/cm² = 10 W/m², exactly; one stop is 0.30103 in log10.
    assert units.to_screen(10.0, "mJ/cm2") == 1.0
    assert units.from_screen(2565.0, "mJ/cm2") == 25650.0
    assert units.to_screen(7.0, "counts.s") == 7.0
    assert pytest.approx(0.30103, abs=5e-6) == units.STOP_LOG10
    assert units.stops_between(200.0, 100.0) == 1.0
    assert units.stops_between(0.0, 100.0) is None


@pytest.mark.parametrize(
    ("unit", "scale", "value", "w_m2"),
    [("W/m2", None, 3.0, 3.0), ("mW/cm2", None, 3.0, 30.0), ("uW/cm2", None, 300.0, 3.0), ("counts", 0.02, 400.0, 80.0),
     ("V", 8.0, 0.5, 40.0)],
)
def test_response(unit: str, scale: float | None, value: float, w_m2: float) -> None:
    response = response_of(SensorSettings(name="s", link="serial", unit=unit, scale=scale))
    assert response.factor * (value - response.zero) == pytest.approx(w_m2, rel=1e-15)
    assert response.unit == "mJ/cm2"


def test_without_a_scale_dose_is_in_unit_seconds() -> None:
    assert response_of(SensorSettings(name="s", link="serial")).unit == "counts.s"
    assert response_of(SensorSettings(name="s", link="serial", unit="V")).unit == "V.s"


@pytest.mark.parametrize("bad", [0.0, -1.0, 5e-324, math.nan, math.inf, -math.inf, 1.0000001e9])
def test_no_target_can_be_nonsense(bad: float) -> None:
    with pytest.raises(Refusal) as refused:
        units.check_dose(bad)
    assert refused.value.code == 2
