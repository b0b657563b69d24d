"""The figures of a stretch of readings, against numpy and scipy on seeded data. The data are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from uvdose.dose.stretch import BLOCKS, Dark, dark, sight, steady_noise, why_not_dark
from uvdose.model import MomentReading, Reading, RegisterReading

Values = NDArray[np.float64]


def _rows(values: Values, step_s: float = 0.1) -> list[tuple[int, Reading]]:
    return [(7_000_000 + round(i * step_s * 1e6), MomentReading(float(v))) for i, v in enumerate(values)]


@pytest.mark.parametrize("seed", range(5))
def test_a_zero_as_numpy_and_scipy_have_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(12.3, 0.7, 200)
    found = dark(_rows(values), 0.0)
    assert found is not None
    assert found.mean == pytest.approx(np.mean(values), rel=1e-12)
    assert found.sd == pytest.approx(np.std(values, ddof=1), rel=1e-12)
    line = scipy.stats.linregress(np.arange(200) * 0.1, values)
    assert found.drift == pytest.approx(line.slope * 19.9, rel=1e-9)
    blocks = values.reshape(BLOCKS, -1).mean(axis=1)
    assert found.spread == pytest.approx(np.ptp(blocks), rel=1e-12)
    least = max(scipy.stats.sem(values), scipy.stats.sem(blocks))
    beyond = max(0.0, found.drift**2 - 4 * (line.stderr * 19.9) ** 2)
    step = np.min(np.abs(np.diff(values)))
    # the drift's own variance is taken for even steps, which leaves out 1/n²
    assert found.u == pytest.approx(math.sqrt(least**2 + step**2 / 12 + beyond / 12), rel=1e-3)


def test_the_uncertainty_of_a_zero_is_what_zeros_scatter_by() -> None:
    """Four hundred zeros of 200 readings, white noise and noise that wanders: the mean strays as u says, or less."""
    rng = np.random.default_rng(11)
    for wander, most in ((0.0, 1.2), (0.9, 1.6)):
        errors, told = [], []
        for _ in range(400):
            noise = rng.normal(0, 1, 260)
            for i in range(1, 260):
                noise[i] += wander * noise[i - 1]
            found = dark(_rows(5 + noise[60:]), 0.0)
            assert found is not None
            errors.append(found.mean - 5)
            told.append(found.u)
        share = np.std(errors) / np.sqrt(np.mean(np.square(told)))
        assert 0.6 < share < most, share


def test_a_drift_and_a_coarse_step_widen_it() -> None:
    """A rectangle of half-width a has the standard uncertainty a / sqrt(3): JCGM 100:2008, 4.3.7 and F.2.2.1."""
    still = dark(_rows(np.full(50, 3.0)), 1.0)
    assert still is not None and still.sd == 0 and still.u == pytest.approx(0.5 / math.sqrt(3))
    rising = dark(_rows(np.linspace(0.0, 2.0, 200)), 0.0)
    assert rising is not None and rising.drift == pytest.approx(2.0)
    assert rising.u == pytest.approx(1 / math.sqrt(3), rel=0.1)
    assert dark(_rows(np.zeros(4)), 0.0) is None


@pytest.mark.parametrize("light", ["steady", "ramp", "clouds"])
@pytest.mark.parametrize("seed", range(4))
def test_noise_is_told_apart_from_the_lights_own_change(light: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    t = np.arange(600) * 0.1
    own = {
        "steady": np.full(600, 500.0), "ramp": 300 + 5 * t,
        "clouds": 500 + 150 * np.tanh(3 * np.sin(t / 6)),  # edges of some seconds
    }[light]
    noise = rng.normal(0, 2.0, 600)
    found = sight(_rows(own + noise), None)
    assert found is not None
    assert found.noise == pytest.approx(np.std(noise, ddof=1), rel=0.25)
    assert found.own == pytest.approx(np.std(own), rel=0.1, abs=1.0)
    assert found.rate_hz == pytest.approx(10.0) and found.seconds == pytest.approx(59.9)
    assert found.highest == np.max(own + noise) and found.saturated == 0.0


def test_the_median_of_variances_is_made_good() -> None:
    """Wilson and Hilferty's cube against the exact median of chi-square from scipy, for ten degrees of freedom."""
    cube = (1 - 2 / (9 * 10)) ** 3
    assert cube == pytest.approx(scipy.stats.chi2.median(10) / 10, rel=2e-3)
    rng = np.random.default_rng(5)
    assert steady_noise(_rows(rng.normal(0, 1, 12_000))) == pytest.approx(1.0, rel=0.03)


def test_saturated_time_is_the_nodes_own_count() -> None:
    rows: list[tuple[int, Reading]] = [
        (i * 1_000_000, RegisterReading(1, i, i * 1000, 900_000, i * 900_000, i * 250, 0, 0)) for i in range(9)
    ]
    found = sight(rows, 1023.0)
    assert found is not None and found.saturated == 0.25
    moments = sight(_rows(np.array([1.0, 5.0, 5.0, 2.0])), 5.0)
    assert moments is not None and moments.saturated == 0.5


def _dark(**changed: float) -> Dark:
    figures = {"n": 200, "seconds": 20.0, "mean": 12.0, "sd": 0.5, "u": 0.04, "drift": 0.0, "spread": 0.2, "step": 0.0}
    return Dark(**(figures | changed))  # type: ignore[arg-type]


@pytest.mark.parametrize("span", [1000.0, 8.0])
@pytest.mark.parametrize("edge", [2, 4, 9, 14, 16])
@pytest.mark.parametrize("slow", [0.0, 0.5])
def test_a_cap_that_comes_late_or_off_gives_no_zero(span: float, edge: int, slow: float) -> None:
    """Few readings, as a Wi-Fi board sends them: 9 s at 2 a second, at first or at last in the light."""
    t = np.arange(18) * 0.5
    for way in (1, -1):
        light = span * 0.43 / (1 + np.exp(np.clip((t - edge * 0.5 + 0.25) / (slow or 1e-3), -50, 50)))[::way]
        rows = _rows(np.round(light, 2))
        found = dark(rows, 0.0)
        assert found is not None
        why = why_not_dark(found, 0.0, span, True, steady_noise(rows))
        assert why is not None and "moved" in why


@pytest.mark.parametrize("readings", [12, 18, 60, 200])
@pytest.mark.parametrize("step", [0.0, 0.05, 1.0])
def test_noise_and_coarse_steps_in_the_dark_are_a_zero(readings: int, step: float) -> None:
    for seed in range(20):
        values = 3.0 + np.random.default_rng(seed).normal(0, 0.4, readings)
        rows = _rows(np.round(values / step) * step if step else values)
        found = dark(rows, step)
        assert found is not None
        assert why_not_dark(found, 0.0, 100.0, True, steady_noise(rows)) is None


@pytest.mark.parametrize(("found", "zero", "span", "first", "word"), [
    (_dark(), 12.0, 1000.0, False, None), (_dark(), 0.0, 1000.0, False, None),
    (_dark(mean=33.0), 12.0, 1000.0, False, "away"),
    (_dark(mean=33.0), 0.0, 1000.0, True, None), (_dark(mean=700.0), 0.0, 1000.0, True, "away"),
    (_dark(spread=5.1), 12.0, 1000.0, False, "moved"), (_dark(spread=4.9), 12.0, 1000.0, False, None),
    (_dark(mean=300.0), 12.0, None, False, None), (_dark(spread=0.8), 12.0, None, False, "moved"),
])  # fmt: skip
def test_what_can_be_a_zero(found: Dark, zero: float, span: float | None, first: bool, word: str | None) -> None:
    why = why_not_dark(found, zero, span, first, noise=0.5)
    assert (why is None) if word is None else (why is not None and word in why)
