"""A printed tablet or strip, measured: the analytic curve, misread and reversing steps, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from support.curves import points_of, x_at

from uvdose.calibrate.curve import SCurve
from uvdose.calibrate.tablet import even
from uvdose.calibrate.wedge import WedgeReading, read_wedge
from uvdose.model import Refusal
from uvdose.units import STOP_LOG10

CURVE = SCurve(0.06, 1.64, 2.2, 1.5)
X = tuple(even().log_doses(3.10))
TRUE = points_of(CURVE)


def _read(densities: list[float | None], **more: float) -> WedgeReading:
    return read_wedge(X, densities, **more)  # type: ignore[arg-type]


def _clean() -> list[float | None]:
    return [float(d) for d in CURVE.density(np.array(X))]


def test_the_analytic_curve_is_recovered() -> None:
    """Closed form, 21 steps without noise: log HT .771791, HS 1.933747, R 116.1956; full 0.83 stop beyond HS."""
    found = _read(_clean())
    assert found.how == "s-curve" and found.left_out == ()
    assert found.threshold is not None and found.range_r is not None and found.exposure_scale is not None
    assert found.threshold.best == pytest.approx(0.771791, abs=1e-3)
    assert found.hs.best == pytest.approx(1.933747, abs=1e-3)
    assert found.range_r.best == pytest.approx(116.1956, abs=0.1)
    assert (found.full.best - found.hs.best) / STOP_LOG10 == pytest.approx(0.83, abs=0.005)
    assert found.exposure_scale.best == pytest.approx(found.full.best - found.threshold.best)
    assert (found.d_min, found.d_max) == pytest.approx((0.06, 1.70), abs=1e-3)


def test_with_reading_noise_the_truth_lies_within_the_interval() -> None:
    """Reading noise 0.02, forty prints: within in at least 35 for each of the three points (95 % expected)."""
    rng = np.random.default_rng(31)
    within = np.zeros(3)
    for seed in range(40):
        noisy: list[float | None] = [d + rng.normal(0, 0.02) for d in _clean() if d is not None]
        found = _read(noisy, seed=seed)
        assert found.threshold is not None
        for i, (estimate, truth) in enumerate(
            ((found.threshold, TRUE.ht), (found.hs, TRUE.hs), (found.full, TRUE.full))
        ):
            within[i] += estimate.low <= truth <= estimate.high
    assert np.all(within >= 35)


def test_order_and_steps_not_read_do_not_matter() -> None:
    noisy = [d + 0.02 * math.sin(7 * i) for i, d in enumerate(_clean()) if d is not None]
    some: list[float | None] = [None if i in (2, 11) else d for i, d in enumerate(noisy)]
    forth = _read(some)
    back = read_wedge(X[::-1], some[::-1])
    assert forth.full == back.full and forth.threshold == back.threshold


def test_the_same_print_reads_the_same_twice() -> None:
    assert _read(_clean(), seed=3) == _read(_clean(), seed=3)


def test_a_misread_step_is_left_out_by_its_place_in_what_was_given() -> None:
    densities = _clean()
    densities[4] = densities[4] - 0.3 if densities[4] else None
    found = _read(densities)
    assert [place for place, _ in found.left_out] == [4]
    assert "reads 0.30 below the curve of the others" in found.left_out[0][1]
    assert found.full.best == pytest.approx(TRUE.full, abs=STOP_LOG10 / 50)


def test_swapped_steps_are_named() -> None:
    densities = _clean()
    densities[9], densities[10] = densities[10], densities[9]
    found = _read(densities)
    assert found.left_out == ((9, "looks swapped with step 11"), (10, "looks swapped with step 10"))


def test_reversing_ends_are_left_out_and_full_tone_is_told_from_the_deepest_seen() -> None:
    """Solarised: beyond log dose 2.4 density falls by 0.6 a decade. Deepest 1.6836 there, so full tone at 1.6336."""
    densities: list[float | None] = [
        float(d) - 0.6 * max(0.0, x - 2.4) for x, d in zip(X, CURVE.density(np.array(X)), strict=True)
    ]
    found = _read(densities)
    assert [place for place, _ in found.left_out][:3] == [0, 1, 2]
    assert all("falls back" in why for _, why in found.left_out)
    deepest = float(CURVE.density(2.4)[0])
    truth = x_at(CURVE, deepest - 0.05)
    assert found.full.best == pytest.approx(truth, abs=STOP_LOG10 / 6)


def test_a_curve_of_another_shape_is_not_forced_into_an_s() -> None:
    """Two rises with a level between: no S-curve. The rising curve finds the second rise's end."""
    x = np.array(X)
    double = 0.06 + 0.7 / (1 + 10 ** (-6 * (x - 0.9))) + 0.9 / (1 + 10 ** (-6 * (x - 2.2)))
    rng = np.random.default_rng(32)
    found = read_wedge(X, (double + rng.normal(0, 0.01, len(x))).tolist())
    assert found.how == "monotone" and any("do not follow an S-curve" in note for note in found.notes)
    truth = 2.2 + math.log10(0.9 / 0.05 - 1) / 6
    assert found.full.low <= truth <= found.full.high
    assert found.full.best == pytest.approx(truth, abs=STOP_LOG10 / 2)


def test_s_curves_keep_their_s() -> None:
    """The test for another shape calls at most 6 of 100 true S-curves wrongly (1 % by its own replicates)."""
    rng = np.random.default_rng(33)
    wrong = sum(
        _read([d + rng.normal(0, 0.02) for d in _clean() if d is not None], replicates=150, seed=i).how != "s-curve"
        for i in range(100)
    )
    assert wrong <= 6


def test_a_lopsided_curve_is_told_as_such() -> None:
    """Skew 3, without noise; the even S alone would be told a fifth of a stop and more off."""
    skewed = SCurve(0.06, 1.6, 2.6, 1.2, 3.0)
    found = read_wedge(X, skewed.density(np.array(X)).tolist())
    true = points_of(skewed)
    assert found.full.low <= true.full <= found.full.high
    assert found.how == "s-curve" and any("lopsided" in note for note in found.notes)


def test_what_the_dose_is_uncertain_by_widens_the_interval_and_not_the_range() -> None:
    sure, unsure = _read(_clean()), _read(_clean(), dose_u=0.10)
    assert unsure.full.half_stops == pytest.approx(1.96 * 0.10 / math.log(2), rel=0.2)
    assert sure.full.half_stops < 0.3 * unsure.full.half_stops
    assert sure.range_r == unsure.range_r


def test_bare_paper_read_apart_gives_a_strip_its_threshold() -> None:
    """Seven steps, none bare: without the base no threshold is told; with it, it is."""
    x = [1.2 + 0.2 * i for i in range(7)]
    densities = CURVE.density(np.array(x)).tolist()
    without, with_base = read_wedge(x, densities), read_wedge(x, densities, base=0.06)
    assert with_base.threshold is not None
    assert with_base.threshold.low <= TRUE.ht <= with_base.threshold.high
    assert with_base.full.low <= TRUE.full <= with_base.full.high
    assert without.full.low <= TRUE.full <= without.full.high


@pytest.mark.parametrize(
    ("x", "densities", "line"),
    [
        ([0.0, 1.0], [0.1], "1 densities for 2 steps"),
        ([0, 1, 2, 3, 4, 5], [0.1, 0.5, 1.0, None, None, None], "3 steps of different dose read: read at least 5"),
        ([0, 1, 1, 1, 2, 2], [0.1, 0.5, 0.5, 0.5, 1.0, 1.0], "3 steps of different dose read"),
        ([0, 1, 2, 3, 4, 5], [1.7, 1.65, 1.3, 0.7, 0.2, 0.1], "densities fall as the dose rises.*thinnest"),
        ([0, 1, 2, 3, 4, 5, 6, 7], [0.1, 0.8, 1.6, 1.6, 1.3, 1.1, 0.9, 0.8], "most steps have turned lighter"),
        ([0, 1, 2, 3, 4], [0.1, 0.5, math.nan, 1.0, 1.1], "not a number"),
        ([0, 1, 2, 3, 4, 5], [1.70, 1.71, 1.69, 1.70, 1.72, 1.70], "all steps print full tone: expose less.*thicker"),
        ([0, 1, 2, 3, 4, 5], [0.06, 0.07, 0.06, 0.06, 0.07, 0.06], "no step shows tone"),
        ([0, 1, 2, 3, 4, 5], [0.06, 0.06, 0.06, 0.06, 0.30, 0.60], "2 steps show tone, 5 are needed.*double the dose"),
    ],
)
def test_prints_that_cannot_tell(x: list[float], densities: list[float | None], line: str) -> None:
    with pytest.raises(Refusal, match=line) as refused:
        read_wedge(x, densities)
    assert "\n" not in refused.value.line


def test_a_print_that_got_too_little_is_refused_with_what_to_do() -> None:
    x = np.linspace(0, 1.7, 18)
    with pytest.raises(Refusal, match="no step reaches full tone: the print got too little; double the dose"):
        read_wedge(x.tolist(), CURVE.density(x).tolist())


def test_whatever_is_typed_gives_finite_values_or_one_line() -> None:
    """Random readings, levels, jumps and falls, in any order and with repeated doses."""
    rng = np.random.default_rng(34)
    told = 0
    for i in range(120):
        n = int(rng.integers(0, 24))
        x = rng.uniform(-3, 4, n) if i % 2 else np.round(np.arange(n) * 0.15, i % 3)
        shapes = (rng.uniform(0, 2, n), np.sort(rng.uniform(0, 2, n)), rng.choice([0.05, 1.6], n), 1.6 - 0.3 * x**2,
                  SCurve(0.05, 1.5, rng.uniform(0.3, 30), rng.uniform(-1, 3)).density(x))
        densities = [None if rng.random() < 0.1 else float(d) for d in shapes[i % 5]]
        try:
            found = read_wedge(x.tolist(), densities, replicates=60)
        except Refusal as refused:
            assert "\n" not in refused.line
            continue
        told += 1
        for each in (found.full, found.hs, found.threshold, found.range_r, found.exposure_scale, found.contrast):
            assert each is None or -math.inf < each.low <= each.best <= each.high < math.inf
    assert told > 5


@pytest.mark.parametrize("bad", [{"full_below": 0.0}, {"dose_u": -0.1}, {"dose_u": math.nan}])
def test_settings_that_cannot_be_meant(bad: dict[str, float]) -> None:
    with pytest.raises(Refusal) as refused:
        _read(_clean(), **bad)
    assert refused.value.code == 2


@pytest.mark.parametrize(("said", "line"), [
    ({"full_below": 0.45}, "more than this print's whole range of 0.40"),
    ({"base": 1.0}, "darker than the lightest step with 0.06"),
])  # fmt: skip
def test_what_is_said_besides_must_go_with_the_densities(said: dict[str, float], line: str) -> None:
    x = even().log_doses(3.0)
    densities = list(np.round(SCurve(0.06, 0.4, 3, 1.8).density(np.array(x)), 2))
    with pytest.raises(Refusal, match=line) as told:
        read_wedge(x, densities, **said)
    assert told.value.code == 2
    assert read_wedge(x, densities, base=0.06).how == "s-curve"
