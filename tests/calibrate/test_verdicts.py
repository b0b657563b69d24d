"""What judged prints say of the dose: against numerical integration, by hand, and on simulated printers."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from scipy.stats import t as student

from uvdose.calibrate import ordinal
from uvdose.calibrate.estimate import Estimate
from uvdose.calibrate.ordinal import Eye, Seen, likelihood, normal_below, posterior
from uvdose.calibrate.verdicts import (
    ADVICE,
    MATTERS_STOPS,
    Judgement,
    Prior,
    Proposal,
    advice,
    by_density,
    dose_u_stops,
    own_eye,
    propose,
)
from uvdose.model import Refusal

PRINTERS = 1000
RIGHT = 2565.0


# Against what is known outside


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


# Simulated printers: each prints at what was proposed last, and accepts it


class Printer:
    """Judges prints of a paper whose right dose is `truth` (log2), and says words, or stops to the nearest quarter."""

    def __init__(
        self, seed: int, truth: float, window: float = 1 / 8, stops: bool = False, noise: float = 1 / 8
    ) -> None:
        self.rng, self.truth, self.window, self.stops, self.noise = random.Random(seed), truth, window, stops, noise

    def judge(self, dose: float) -> Judgement:
        off = math.log2(dose) - self.truth + self.rng.gauss(0, self.noise) + self.rng.gauss(0, 1 / 12)
        if abs(off) <= self.window:
            return Judgement(dose, tone="right")
        tone = "dark" if off > 0 else "light"
        told = round(4 * off * self.rng.gauss(1, 0.2)) / 4 if self.stops else 0.0
        return Judgement(dose, tone=tone, stops=told if told * off > 0 else None)


def converge(
    name: str, offset: Callable[[random.Random], float], prior: Prior | None = None, eye: Eye | None = None,
    window: float = 1 / 8, stops: bool = False,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Shares of 1,000 printers within 1/4 stop after three prints and 1/6 after five; coverage after three and five."""
    known: dict[tuple[Judgement, ...], Proposal] = {}  # words leave few histories, so that most are met again
    near, within, cover = [0] * 6, [0] * 6, [0] * 6
    for seed in range(PRINTERS):
        truth = math.log2(RIGHT) + offset(random.Random(10_000 + seed))
        printer, dose, told = Printer(seed, truth, window, stops), RIGHT, ()
        for n in range(1, 6):
            told = (*told, printer.judge(dose))
            if told not in known:
                known[told] = propose(dose, prior or Prior(RIGHT), told, eye)
            p = known[told]
            dose = p.dose if p.change else dose
            error = abs(math.log2(dose) - truth)
            near[n] += error <= 1 / 4
            within[n] += error <= 1 / 6
            cover[n] += math.log2(p.low) <= truth <= math.log2(p.high)
    result = near[3] / PRINTERS, within[5] / PRINTERS, cover[3] / PRINTERS, cover[5] / PRINTERS
    print(f"\n{name}: within 1/4 after 3 {result[0]:.3f}, within 1/6 after 5 {result[1]:.3f}, "
          f"interval holds {result[2]:.3f}, {result[3]:.3f}")  # fmt: skip
    return result


def either(stops: float) -> Callable[[random.Random], float]:
    return lambda rng: rng.choice([-stops, stops])


def test_half_a_stop_off_is_found_in_three_prints_and_settled_in_five() -> None:
    near, within, cover3, cover5 = converge("half a stop off, bare words", either(0.5))
    assert near >= 0.90
    assert within >= 0.90
    assert min(cover3, cover5) >= 0.92


def test_half_a_stop_off_with_the_stops_told() -> None:
    near, within, *cover = converge("half a stop off, stops told to a quarter", either(0.5), stops=True)
    assert near >= 0.90
    assert within >= 0.90
    assert min(cover) >= 0.92


def test_a_start_near_right_is_not_spoilt() -> None:
    near, within, *cover = converge("start right", either(0.0))
    assert near >= 0.95
    assert within >= 0.90
    assert min(cover) >= 0.93
    near, within, *cover = converge("start a quarter off", either(0.25))
    assert near >= 0.95
    assert within >= 0.90
    assert min(cover) >= 0.93


def test_starts_drawn_from_the_prior_itself() -> None:
    """The one case in which a 95 % interval must hold the truth in 95 %."""
    def offset(rng: random.Random) -> float:
        return 0.3 * rng.gauss(0, 1) / math.sqrt(rng.gammavariate(2, 0.5))  # Student's t, 4 degrees of freedom

    for stops in (False, True):
        name = f"starts drawn from the prior, {'stops told' if stops else 'bare words'}"
        near, within, *cover = converge(name, offset, stops=stops)
        assert near >= 0.90
        assert within >= 0.85
        assert all(0.93 <= c <= 0.985 for c in cover)


def test_a_wider_window() -> None:
    near, within, *cover = converge("window 1/4, known", either(0.5), eye=Eye(window_stops=1 / 4), window=1 / 4)
    assert near >= 0.90
    assert within >= 0.85
    assert min(cover) >= 0.92
    near, within, *_ = converge("window 1/4, taken for 1/8", either(0.5), window=1 / 4)
    assert near >= 0.80


def test_a_whole_stop_off() -> None:
    near, *_ = converge("one stop off, bare words", either(1.0))
    assert near >= 0.80
    near, *_ = converge("one stop off, stops told", either(1.0), stops=True)
    assert near >= 0.80


def test_why_the_prior_is_wide_and_has_heavy_tails(monkeypatch: pytest.MonkeyPatch) -> None:
    """A normal prior of 0.25 never gets one stop far in five bare words; of 0.15 not even half a stop in three."""
    monkeypatch.setattr(ordinal, "PRIOR_LEAST_STOPS", 0.15)
    converge("Student's t 0.15, half a stop off", either(0.5))
    monkeypatch.setattr(ordinal, "PRIOR_DOF", 1e9)
    near, *_ = converge("normal 0.15, half a stop off", either(0.5))
    assert near < 0.90
    monkeypatch.setattr(ordinal, "PRIOR_LEAST_STOPS", 0.25)
    converge("normal 0.25, half a stop off", either(0.5))
    near, *_ = converge("normal 0.25, one stop off", either(1.0))
    assert near < 0.50


# The proposal


def dark(dose: float = RIGHT) -> Judgement:
    return Judgement(dose, tone="dark")


def test_two_of_three_too_dark_in_one_sentence() -> None:
    p = propose(RIGHT, Prior(RIGHT, 0.3), [dark(), dark(), Judgement(RIGHT, tone="right")])
    assert p.sentence.startswith("two of three prints at 2565 were too dark and one right, so the right dose is ")
    assert p.sentence.endswith(" stop less")
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


def test_density_in_place_of_the_eye() -> None:
    j = by_density(RIGHT, 1.50, 1.44, per_stop=0.20, density_u=0.02)
    assert j.stops == pytest.approx(0.3)
    assert j.stops_u == pytest.approx(0.1)
    assert propose(RIGHT, None, [j]).change_stops == pytest.approx(-0.3, abs=0.06)
    with pytest.raises(Refusal, match="curve gains only"):
        by_density(RIGHT, 1.50, 1.44, per_stop=0.01)


@pytest.mark.parametrize("noise", [1 / 16, 1 / 4])
def test_a_persons_own_scatter_is_told_from_many_prints(noise: float) -> None:
    found = []
    for seed in range(20):
        rng = random.Random(seed)
        printer = Printer(seed, math.log2(RIGHT), noise=noise)
        told = [printer.judge(RIGHT * 2 ** rng.uniform(-0.4, 0.4)) for _ in range(40)]
        found.append(own_eye([(Prior(RIGHT), told)]).judging_stops)
    middle = sorted(found)[10]
    print(f"\nown scatter {noise:.3f}: median told {middle:.3f}, {min(found):.3f}-{max(found):.3f}")
    assert noise / 1.5 < middle < 1.5 * noise
    assert all(1 / 16 <= f <= 1 / 2 for f in found)


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
