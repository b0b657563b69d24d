"""What is proposed after judged prints: in words, within bounds, and never by the highlights."""

from __future__ import annotations

import math

import numpy as np
import pytest
from support.curves import x_at

from uvdose.calibrate.curve import SCurve
from uvdose.calibrate.estimate import Estimate
from uvdose.calibrate.ordinal import Eye
from uvdose.calibrate.verdicts import (
    ADVICE,
    MATTERS_STOPS,
    Curve,
    Judgement,
    Prior,
    advice,
    by_density,
    dose_u_stops,
    own_eye,
    propose,
)
from uvdose.model import Refusal

RIGHT = 2565.0


def dark(dose: float = RIGHT) -> Judgement:
    return Judgement(dose, tone="dark")


def test_two_of_three_too_dark_in_one_sentence() -> None:
    p = propose(RIGHT, Prior(RIGHT, 0.3), [dark(), dark(), Judgement(RIGHT, tone="right")])
    assert p.sentence.startswith("two of three prints at 2565 were too dark and one right, so the right dose is ")
    assert p.sentence.endswith(" stop less than the target now")
    assert f"{abs(p.change_stops):.2f} stop less" in p.sentence
    assert p.change
    assert p.low < p.dose < RIGHT
    assert p.dose == pytest.approx(RIGHT * 2**p.change_stops)


def test_right_prints_keep_the_target() -> None:
    p = propose(RIGHT, Prior(RIGHT), [Judgement(RIGHT, tone="right")] * 3)
    assert not p.change
    assert p.sentence.startswith("all three prints at 2565 were right, so keep 2565: the right dose is likely ")
    assert abs(p.change_stops) < MATTERS_STOPS


@pytest.mark.parametrize(("stops", "change"), [(0.115, True), (0.06, False)])
def test_only_a_change_that_matters_is_proposed(stops: float, change: bool) -> None:
    """Many exact measurements, so that the change is what they say: above or below 1/12 stop."""
    p = propose(RIGHT, Prior(RIGHT), [Judgement(RIGHT, stops=stops, stops_u=0.01)] * 40)
    assert p.change is change
    assert p.change_stops == pytest.approx(-stops, abs=0.01)


def test_nothing_judged_changes_nothing() -> None:
    p = propose(RIGHT, Prior(1200.0), [])
    assert (p.change, p.sentence) == (False, "keep 2565: no print at this target was judged yet")


def test_highlights_never_move_the_dose() -> None:
    tones = [dark(), Judgement(RIGHT, tone="right")]
    without = propose(RIGHT, None, tones)
    for highlights in ("blocked", "blank", "right"):
        seen = [*tones, Judgement(RIGHT, highlights=highlights)]
        p = propose(RIGHT, None, seen)
        assert (p.dose, p.low, p.high, p.sentence) == (without.dose, without.low, without.high, without.sentence)
        assert p.advice == ADVICE[highlights]


def test_advice_points_to_the_negative() -> None:
    assert "densest parts hold back more" in advice("blank")
    assert "densest parts are too thin" in advice("blocked")
    assert all("leave the dose" in ADVICE[h] for h in ("blocked", "blank"))
    assert advice("blank", "light").endswith("judge them again when the dark tone is right")
    assert advice("blocked", "dark").endswith("judge them again when the dark tone is right")
    assert advice("blank", "dark") == ADVICE["blank"]
    assert advice(None) == ""


def test_a_mirror_image() -> None:
    """Light instead of dark moves the dose as far the other way."""
    less, more = propose(RIGHT, None, [dark()]), propose(RIGHT, None, [Judgement(RIGHT, tone="light")])
    assert less.change_stops == pytest.approx(-more.change_stops, abs=1e-9)


def test_a_process_that_light_bleaches_goes_the_other_way() -> None:
    """Too dark then means too little light, and the highlights say nothing of the negative."""
    told = [dark(), Judgement(RIGHT, tone="dark", stops=0.5, highlights="blank")]
    darkens, bleaches = propose(RIGHT, None, told), propose(RIGHT, None, told, bleaches=True)
    assert bleaches.change_stops == pytest.approx(-darkens.change_stops, abs=1e-9)
    assert bleaches.sentence.startswith("both prints at 2565 were too dark, so the right dose is likely 3")
    assert bleaches.sentence.endswith("stop more than the target now")
    assert bleaches.advice == ""


def test_the_order_of_judging_does_not_matter() -> None:
    a, b, c = dark(), Judgement(2000.0, tone="light"), Judgement(2300.0, tone="right")
    assert propose(RIGHT, None, [a, b, c]).dose == pytest.approx(propose(RIGHT, None, [c, b, a]).dose, rel=1e-12)


def test_an_unsure_dose_says_less() -> None:
    sure, unsure = (propose(RIGHT, None, [Judgement(RIGHT, u, "right")] * 3) for u in (0.0, 0.5))
    assert unsure.high / unsure.low > 1.2 * sure.high / sure.low


def test_one_wrong_word_among_many_is_outvoted() -> None:
    right = [Judgement(RIGHT, tone="right")] * 9
    p = propose(RIGHT, None, [*right, Judgement(2 * RIGHT, tone="light")])
    assert abs(p.change_stops) < MATTERS_STOPS


def test_doses_small_and_large_read_plainly() -> None:
    assert propose(0.0123, None, [dark(0.0123)]).sentence.startswith("the print at 0.0123 was too dark")
    assert "12300000" in propose(1.23e7, None, [dark(1.23e7)]).sentence


def test_prior_from_an_estimate_takes_the_wider_side() -> None:
    prior = Prior.of(Estimate(1000.0, 2000.0, 2500.0))
    assert (prior.dose, prior.half_stops) == (2000.0, 1.0)
    assert propose(2000.0, Estimate(1000.0, 2000.0, 2500.0), [dark(2000.0)]) == propose(2000.0, prior, [dark(2000.0)])


def measured_curve() -> tuple[SCurve, Curve]:
    shape = SCurve(0.08, 1.45, 2.2, 1.8)
    x = np.linspace(0.2, 3.3, 121)
    full = x_at(shape, shape.d_max - 0.05)
    return shape, Curve(tuple(x), tuple(shape.density(x)), full)


@pytest.mark.parametrize("stops", [-2.0, -1.0, -0.5, 0.0, 0.25, 1.0])
def test_density_is_read_along_the_papers_curve(stops: float) -> None:
    shape, curve = measured_curve()
    density = float(shape.density(curve.full_log + stops * math.log10(2))[0])
    j = by_density(RIGHT, density, curve)
    assert j.stops == pytest.approx(stops, abs=0.03)
    finely = by_density(RIGHT, density, curve, density_u=0.001)
    assert finely.stops_u == pytest.approx(
        0.001 / slope_per_stop(shape, curve.full_log + stops * math.log10(2)), rel=0.1
    )
    assert j.stops_u is not None and finely.stops_u is not None and j.stops_u > 10 * finely.stops_u


def slope_per_stop(shape: SCurve, x: float) -> float:
    low, high = shape.density(np.array([x - 0.01, x + 0.01]))
    return float(high - low) / 0.02 * math.log10(2)


def test_density_off_the_curve_says_the_side_alone() -> None:
    _, curve = measured_curve()
    assert by_density(RIGHT, 1.6, curve) == Judgement(RIGHT, tone="dark")
    assert by_density(RIGHT, 0.05, curve) == Judgement(RIGHT, tone="light")
    with pytest.raises(Refusal, match="too flat"):
        by_density(RIGHT, 1.50, Curve((0.0, 1.0), (1.49, 1.49), 0.5))
    with pytest.raises(Refusal, match="such as"):
        by_density(RIGHT, math.nan, curve)


def test_a_target_that_cannot_be_judged_keeps_no_other_from_it() -> None:
    far = (Prior(RIGHT), [dark(RIGHT * 2.0**9)])
    wild = (Prior(RIGHT), [dark(1500.0), Judgement(3900.0, tone="light")] * 4)
    assert own_eye([far, wild, (Prior(RIGHT, 6.0), [dark(RIGHT)])]) == own_eye([wild])


def test_few_prints_leave_the_usual_eye() -> None:
    wild = [dark(1500.0), Judgement(3900.0, tone="light")] * 3
    assert own_eye([(Prior(RIGHT), wild)]) == Eye()
    assert own_eye([(Prior(RIGHT), wild), (Prior(RIGHT), wild)]).judging_stops > 1 / 8


def test_given_dose_to_stops() -> None:
    assert dose_u_stops(1000 / 2**0.1, 1000, 1000 * 2**0.1) == pytest.approx(0.1 / 1.959964)
    assert dose_u_stops(0.0, 1000, 1100) == 0.0


@pytest.mark.parametrize(
    ("judgement", "says"),
    [
        (Judgement(0.0, tone="dark"), "dose 0: give a number above zero"),
        (Judgement(math.nan, tone="dark"), "give a number above zero"),
        (Judgement(RIGHT), "say of the print: light, right or dark"),
        (Judgement(RIGHT, tone="murky"), "say light, right or dark"),  # type: ignore[arg-type]
        (Judgement(RIGHT, tone="dark", highlights="grey"), "say blocked, right or blank"),  # type: ignore[arg-type]
        (Judgement(RIGHT, tone="dark", stops=-0.5), "contradict each other"),
        (Judgement(RIGHT, tone="right", stops=0.5), "contradict each other"),
        (Judgement(RIGHT, stops=math.nan), "give -5 to 5"),
        (Judgement(RIGHT, stops=9.0), "give -5 to 5"),
        (Judgement(RIGHT, stops=0.5, stops_u=0.0), "above zero"),
        (Judgement(RIGHT, -1.0, "dark"), "uncertainty of the dose"),
        (Judgement(RIGHT * 1000, tone="dark"), "another target or unit"),
    ],
)
def test_what_cannot_be_judged_is_refused_in_one_line(judgement: Judgement, says: str) -> None:
    with pytest.raises(Refusal) as refused:
        propose(RIGHT, Prior(RIGHT), [judgement])
    assert says in refused.value.line
    assert "\n" not in refused.value.line
    assert refused.value.code == 2


@pytest.mark.parametrize("half", [-0.1, 6.0, math.nan])
def test_a_calibration_print_that_says_nothing_is_refused(half: float) -> None:
    with pytest.raises(Refusal, match="make a new one"):
        propose(RIGHT, Prior(RIGHT, half), [dark()])
