"""What sampling sees of flicker: against samples of the ripple itself."""

from __future__ import annotations

import numpy as np
import pytest

from uvdose.light.flicker import RIPPLES_HZ, cost, seen


@pytest.mark.parametrize("ripple", RIPPLES_HZ)
@pytest.mark.parametrize("sample", [1.0, 9.7, 10.0, 50.0, 70.0, 99.0, 100.0, 101.5, 119.0, 180.0, 300.0, 1000.0])
def test_the_apparent_rate_is_the_one_in_the_samples(ripple: float, sample: float) -> None:
    """The strongest line in the spectrum of 4,000 samples of the ripple, or none where they stand still."""
    count = 4000
    samples = np.cos(2 * np.pi * ripple * np.arange(count) / sample + 0.3)
    lines = np.abs(np.fft.rfft(samples - samples.mean()))
    found = seen(ripple, sample).apparent_hz
    if found < 1e-9:
        assert np.ptp(samples) < 1e-6
    else:
        assert found == pytest.approx(np.argmax(lines) * sample / count, abs=sample / count)


@pytest.mark.parametrize(
    ("ripple", "over"), [(100.0, 0.0), (100.0, 0.004), (120.0, 0.004), (100.0, 0.013), (120.0, 0.1)]
)
def test_the_share_is_that_of_the_averaged_ripple(ripple: float, over: float) -> None:
    """The ripple averaged over the window in fine steps, at its best phase."""
    phases = np.linspace(0, 2 * np.pi, 400)
    within = (np.arange(2000) + 0.5) / 2000 * over
    means = np.cos(2 * np.pi * ripple * within[None, :] + phases[:, None]).mean(axis=1)
    assert seen(ripple, 10.0, over).share == pytest.approx(np.ptp(means) / 2, abs=1e-3)


def test_whole_periods_see_nothing() -> None:
    """100 ms are ten periods of 100 Hz and twelve of 120 Hz."""
    for ripple in RIPPLES_HZ:
        assert seen(ripple, 10.0, 0.1).share == pytest.approx(0.0, abs=1e-12)


def test_readings_in_step_with_the_mains_are_off_for_good() -> None:
    """10 a second, whatever the mains: each falls on the same height."""
    for ripple in RIPPLES_HZ:
        assert seen(ripple, 10.0).apparent_hz == 0.0


def test_what_is_no_rate() -> None:
    for wrong in ((0.0, 1.0, 0.0), (100.0, -1.0, 0.0), (100.0, 1.0, -0.1), (float("nan"), 1.0, 0.0)):
        with pytest.raises(ValueError, match="rates"):
            seen(*wrong)


@pytest.mark.parametrize(
    ("ripple", "sample"), [(100.0, 7.0), (100.0, 13.0), (120.0, 13.0), (100.0, 9.7), (120.0, 37.0)]
)
def test_no_print_is_off_by_more_than_is_told(ripple: float, sample: float) -> None:
    """Sampled ripples of depth 0.5 at many phases and mains, read for 20 s and printed for a minute."""
    rng = np.random.default_rng(4)
    for _ in range(200):
        f, phase = ripple * (1 + rng.uniform(-0.004, 0.004)), rng.uniform(0, 2 * np.pi)
        read = 1 + 0.5 * np.cos(2 * np.pi * f * np.arange(round(20 * sample)) / sample + phase)
        dose = 1 + 0.5 * np.cos(2 * np.pi * f * np.arange(round(60 * sample)) / sample + phase)
        told = cost(ripple, sample, 0.0, 0.0, float(read.std() / read.mean()), 20.0, 60.0)
        off = abs(dose.mean() - 1)
        if told.shown:
            assert off <= told.error * 1.1  # a window of two beats knows their height within a tenth
        else:
            assert off <= 0.5 * told.error + 1e-9
        assert told.slowest_hz - 1e-9 <= seen(f, sample).apparent_hz <= told.fastest_hz + 1e-9


def test_in_step_nothing_is_shown_and_all_may_be_lost() -> None:
    for ripple in RIPPLES_HZ:
        told = cost(ripple, 10.0, 0.0, 0.0, 0.001, 60.0, 600.0)
        assert not told.shown and told.slowest_hz == 0.0 and told.error == 1.0
        assert cost(ripple, 10.0, 0.0, 0.1, 0.001, 60.0, 600.0).error == pytest.approx(0.0, abs=1e-12)
    assert cost(100.0, 13.0, 0.0, 0.0, 0.1, 20.0, 60.0).shown
