"""Density of film under light that drifts: closed forms, coverage, refusals, and what it means for the paper."""

from __future__ import annotations

import math
import random
import statistics

import pytest

from uvdose.calibrate.estimate import Estimate
from uvdose.calibrate.film import Film, Stretch, fits_paper, measure_film
from uvdose.model import Refusal

MEASURED = 1000


def stretch(mean: float, mid_s: float, u: float = 0.0) -> Stretch:
    return Stretch(mean, u, mid_s, 20.0)


def test_half_the_light_is_one_stop() -> None:
    # Source: ISO 5-1, D = -log10 of transmittance; one stop = 0.30103 exactly a factor of two.
    f = measure_film([stretch(5.0, 0), stretch(2.5, 30), stretch(5.0, 60)])
    assert f.density.low == f.density.best == f.density.high == pytest.approx(0.30103, abs=1e-5)
    assert f.stops.best == pytest.approx(1.0)


def test_light_that_drifts_straight_is_followed_exactly() -> None:
    """The film's own moment counts, also when it does not lie in the middle."""
    f = measure_film([stretch(5.0, 0), stretch(0.1 * 5.4, 40), stretch(6.0, 100)])
    assert f.density.best == pytest.approx(1.0)
    assert f.parts["drift"] == pytest.approx(1.0 / (2 * 5.4 * math.sqrt(3)) / math.log(10))
    assert f.density.low < 1.0 < f.density.high


def test_parts_by_hand() -> None:
    # B 4 (u 0.04 each, w 1/2), F 2 (u 0.02), zero_u 0.05: relative 0.01, 0.01 / sqrt 2, and |1/2 - 1/4| x 0.05.
    f = measure_film([stretch(4.0, 0, 0.04), stretch(2.0, 30, 0.02), stretch(4.0, 60, 0.04)], zero_u=0.05)
    assert f.parts["noise"] == pytest.approx(math.sqrt(0.01**2 + 0.01**2 / 2) / math.log(10))
    assert f.parts["zero"] == pytest.approx(0.0125 / math.log(10))
    assert f.parts["drift"] == 0.0
    half = 1.959964 * math.hypot(f.parts["noise"], f.parts["zero"])
    assert f.density.high - f.density.low == pytest.approx(2 * half, rel=1e-3)


def test_more_turns_make_it_surer() -> None:
    one = measure_film([stretch(4.0, 0, 0.04), stretch(2.0, 30, 0.02), stretch(4.0, 60, 0.04)])
    turns = [stretch(4.0 if i % 2 == 0 else 2.0, 30 * i, 0.04 if i % 2 == 0 else 0.02) for i in range(9)]
    four = measure_film(turns)
    assert four.density.best == pytest.approx(one.density.best)
    assert 0.4 < four.parts["noise"] / one.parts["noise"] < 0.6


def readings(rng: random.Random, noise: float, gain: float, zero: float, day_s: float, mid_s: float) -> Stretch:
    """Ten readings of a half-sine day, through film that lets `gain` through, by a sensor whose zero is off."""
    values = [
        gain * 5.0 * math.sin(math.pi * (mid_s + 2 * s - 9) / day_s) + zero + rng.gauss(0, noise) for s in range(10)
    ]
    return Stretch(statistics.mean(values), statistics.stdev(values) / math.sqrt(10), mid_s, 20.0, 10)


def coverage(kind: str, day_s: float, turns: int) -> tuple[float, float]:
    within, widths = 0, []
    for seed in range(MEASURED):
        rng = random.Random(seed)
        truth = rng.uniform(0.05, 1.6)
        zero_u = rng.choice([0.0, 0.005])
        zero, noise = rng.gauss(0, zero_u) if zero_u else 0.0, rng.uniform(0.02, 0.1)
        mid_s = rng.uniform(0.25, 0.75) * day_s
        told = [
            readings(rng, noise, 10**-truth if i % 2 else 1.0, zero, day_s, mid_s + 30 * i)
            for i in range(2 * turns + 1)
        ]
        f = measure_film(told, zero_u)
        within += f.density.low <= truth <= f.density.high
        widths.append(f.density.high - f.density.low)
    share, width = within / MEASURED, statistics.median(widths)
    print(f"\n{kind}: density within in {share:.3f} of {MEASURED}, median width {width:.4f}")
    return share, width


@pytest.mark.parametrize("turns", [1, 3])
def test_the_interval_holds_the_truth_as_often_as_it_says(turns: int) -> None:
    """Light that rises and falls as a half-sine over a day of ten hours, noise and a zero that is off."""
    share, _ = coverage(f"half-sine day, {turns} turns", 36_000, turns)
    assert 0.93 <= share <= 0.97


def test_light_that_drifts_fast_widens_the_interval_and_is_still_held() -> None:
    """A half-sine over half an hour, as under thinning cloud. Half the difference of the bares is then more than the
    straight line between them misses: the interval holds more often than it says, and never less."""
    share, width = coverage("half-sine of half an hour", 1_800, 1)
    assert share >= 0.93
    assert width > coverage("half-sine day", 36_000, 1)[1]


@pytest.mark.parametrize(
    ("stretches", "code", "says"),
    [
        ([stretch(5, 0), stretch(2, 30)], 2, "bare, through the film, and bare again"),
        ([stretch(5, 0), stretch(2, 30), stretch(5, 60), stretch(2, 90)], 2, "three stretches, or five"),
        ([stretch(5, 0), stretch(2, 30), stretch(8, 60)], 4, "the light changed too much, by 1.6 times"),
        ([stretch(5, 0, 0.01), stretch(5.4, 30, 0.01), stretch(5, 60, 0.01)], 4, "film reads more than the bare"),
        ([stretch(0, 0, 0.01), stretch(0, 30, 0.01), stretch(0, 60, 0.01)], 4, "no light on the bare sensor"),
        ([stretch(0.02, 0, 0.01), stretch(0, 30), stretch(0.02, 60, 0.01)], 4, "no light on the bare sensor"),
        ([stretch(-1, 0), stretch(0, 30), stretch(-1, 60)], 4, "no light on the bare sensor"),
        ([stretch(5, 0), stretch(0.01, 30, 0.01), stretch(5, 60)], 4, "cannot be told from nothing (density above 2."),
        ([stretch(5, 0), stretch(-0.001, 30, 0.001), stretch(5, 60)], 4, "cannot be told from nothing"),
        ([stretch(5, 0), stretch(2, 70), stretch(5, 60)], 2, "do not follow each other in time"),
        ([stretch(math.nan, 0), stretch(2, 30), stretch(5, 60)], 2, "no readings that count"),
        ([stretch(5, 0, -1), stretch(2, 30), stretch(5, 60)], 2, "no readings that count"),
    ],
)
def test_what_cannot_be_told_is_refused_in_one_line(stretches: list[Stretch], code: int, says: str) -> None:
    with pytest.raises(Refusal) as refused:
        measure_film(stretches)
    assert says in refused.value.line
    assert "\n" not in refused.value.line
    assert refused.value.code == code


def test_a_zero_that_is_unsure_hides_dense_film() -> None:
    dense = [stretch(5, 0), stretch(0.01, 30), stretch(5, 60)]
    assert measure_film(dense, 0.001).density.best == pytest.approx(2.699, abs=1e-3)
    with pytest.raises(Refusal, match="cannot be told from nothing"):
        measure_film(dense, 0.01)


def test_clear_glass_within_the_noise_has_no_density_below_none() -> None:
    f = measure_film([stretch(5, 0, 0.05), stretch(5.03, 30, 0.05), stretch(5, 60, 0.05)])
    assert f.density.low == f.density.best == 0.0
    assert f.density.high > 0


def exact(density: float, half: float = 0.0) -> Estimate:
    return Estimate(density - half, density, density + half)


def test_a_thin_negative_prints_dark_highlights() -> None:
    # Paper 1.6, negative 0.10 to 1.40: its lightest tones get 10^0.30, one stop, more than the paper's least.
    fit = fits_paper(exact(1.40), exact(0.10), 1.6)
    assert fit.word == "thin"
    assert fit.excess.best == pytest.approx(-0.30)
    assert fit.sentence.startswith("this negative is 0.30 too thin for this paper: ")
    assert "1.0 stop too much and will print dark" in fit.sentence


def test_a_dense_negative_prints_blank_highlights() -> None:
    fit = fits_paper(exact(2.20), exact(0.10), 1.6)
    assert fit.word == "dense"
    assert fit.sentence.startswith("this negative is 0.50 too dense for this paper: ")
    assert "1.7 stop too little and will be blank" in fit.sentence


def test_a_negative_that_fits() -> None:
    assert fits_paper(exact(1.73, 0.02), exact(0.10, 0.01), 1.6).word == "fits"


def test_the_interval_has_its_say() -> None:
    assert fits_paper(exact(1.55, 0.02), exact(0.10, 0.01), 1.6).word == "thin"
    unsure = fits_paper(exact(1.55, 0.25), exact(0.10, 0.01), 1.6)
    assert unsure.word == "close"
    assert unsure.sentence.startswith("too close to tell: this negative's range is -0.15 (-0.40 to +0.10)")
    # An unsure paper is as good a reason.
    assert fits_paper(exact(1.55, 0.02), exact(0.10, 0.01), Estimate(1.4, 1.6, 1.8)).word == "close"


def test_measured_patches_are_taken_as_they_are() -> None:
    def patch(density: float) -> Film:
        return measure_film([stretch(5, 0), stretch(5 * 10**-density, 30), stretch(5, 60)])

    assert fits_paper(patch(1.4), patch(0.1), 1.6).excess.best == pytest.approx(-0.30)


@pytest.mark.parametrize("scale", [0.0, -1.0, math.nan, math.inf])
def test_a_scale_that_is_none_is_refused(scale: float) -> None:
    with pytest.raises(Refusal, match="exposure scale"):
        fits_paper(exact(1.4), exact(0.1), scale)


def test_swapped_patches_are_refused() -> None:
    with pytest.raises(Refusal, match="swapped"):
        fits_paper(exact(0.1), exact(1.4), 1.6)
