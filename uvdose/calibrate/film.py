"""Density in ultraviolet of film base, or of a patch of a negative, told with the sensor that measures the light.

The sensor reads bare, through the film, bare again (or more of these in turn), while the light drifts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import msgspec

from ..dose.uncertainty import Part, combine, coverage_factor
from ..model import Refusal
from ..units import STOP_LOG10
from .estimate import Estimate

MOST_DRIFT = 1.5
LEAST_SIGNAL = 3.0
FITS_WITHIN = 0.10


class Stretch(msgspec.Struct, frozen=True):
    """One stretch of readings: mean net irradiance (zero taken off; any unit, the same for all), standard uncertainty
    of that mean, the middle of its time, how long it was. readings: how many u was told from, None when u is known."""

    mean: float
    u: float
    mid_s: float
    seconds: float
    readings: int | None = None

    @property
    def dof(self) -> float:
        """Degrees of freedom of u."""
        return math.inf if self.readings is None else max(1.0, self.readings - 1.0)


class Film(msgspec.Struct, frozen=True):
    """Density with its 95 % interval, the same in stops (what the film costs in dose), and the standard uncertainties
    in density that it comes from: noise, zero, drift."""

    density: Estimate
    stops: Estimate
    parts: dict[str, float]


def measure_film(stretches: Sequence[Stretch], zero_u: float = 0.0) -> Film:
    """Density from bare, film, bare (or bare, film, bare, film, bare and so on). zero_u: standard uncertainty of the
    sensor's zero, in the unit of the means; it moves bare and film together.

    For each film stretch F between bares B0 and B1: B = B0 + w (B1 - B0) with w its time's share of the way, and the
    transmittance is R = F / B. Standard uncertainties of R (JCGM 100:2008, 5.1.2), combined in quadrature:
    noise: R sqrt((u_F/F)² + ((1-w) u_B0/B)² + (w u_B1/B)²);  zero: zero_u |1 - R| / B, since both move together;
    drift: R |B1 - B0| / (2 B sqrt 3), half the difference of the bares as a rectangular distribution (4.3.7).
    Several film stretches: their mean; noise with each bare's share in all of them, zero and drift as if they were
    one. Density = -log10 R; its interval is that of R, R +- k u, carried over: a dense film's is longer upwards. k is
    1.96, more where u was told from few readings (G.4.1). Light that dips between two bares and comes back is not seen
    by them: under clouds take several turns. Raises `Refusal` where it cannot be told.
    """
    if len(stretches) < 3 or len(stretches) % 2 == 0:
        raise Refusal("measure bare, through the film, and bare again: three stretches, or five and so on", 2)
    _check(stretches, zero_u)
    bares, films = stretches[0::2], stretches[1::2]
    n = len(films)
    ratio = zero_u_r = drift = 0.0
    slopes = [0.0] * len(stretches)  # of the mean ratio, with each stretch's mean
    for i, film in enumerate(films):
        before, after = bares[i], bares[i + 1]
        w = (film.mid_s - before.mid_s) / (after.mid_s - before.mid_s)
        bare = before.mean + w * (after.mean - before.mean)
        r = film.mean / bare
        ratio += r / n
        slopes[2 * i] -= (1 - w) * r / bare / n
        slopes[2 * i + 1] = 1 / bare / n
        slopes[2 * i + 2] -= w * r / bare / n
        zero_u_r += zero_u * abs(1 - r) / bare / n
        drift += r * abs(after.mean - before.mean) / (2 * bare * math.sqrt(3)) / n
    noises = [Part("noise", abs(c) * s.u, s.dof) for c, s in zip(slopes, stretches, strict=True)]
    noise, _ = combine(noises)
    u, dof = combine([*noises, Part("zero", zero_u_r), Part("drift", drift)])
    k = coverage_factor(dof)
    low_r, high_r = ratio - k * u, ratio + k * u
    film_u = math.hypot(zero_u_r, *(p.u for p in noises[1::2]))
    if ratio <= 0 or ratio < LEAST_SIGNAL * film_u or low_r <= 0:
        least = f"above {-math.log10(high_r):.1f}" if 0 < high_r < 1 else "unknown"
        raise Refusal(f"what comes through the film cannot be told from nothing (density {least}): use stronger light")
    if low_r > 1:
        raise Refusal("the film reads more than the bare sensor: shade or a reflection moved; measure all three again")
    density = Estimate(*(max(0.0, -math.log10(x)) for x in (high_r, ratio, low_r)))
    stops = Estimate(density.low / STOP_LOG10, density.best / STOP_LOG10, density.high / STOP_LOG10)
    to_density = 1 / (ratio * math.log(10))
    parts = {"noise": noise, "zero": zero_u_r, "drift": drift}
    return Film(density, stops, {name: u_r * to_density for name, u_r in parts.items()})


def _check(stretches: Sequence[Stretch], zero_u: float) -> None:
    numbers = [x for s in stretches for x in (s.mean, s.u, s.mid_s, s.seconds)] + [zero_u]
    if not all(map(math.isfinite, numbers)) or zero_u < 0 or any(s.u < 0 or s.seconds <= 0 for s in stretches):
        raise Refusal("a stretch has no readings that count: measure it again, for ten seconds at least", 2)
    times = [s.mid_s for s in stretches]
    if any(b <= a for a, b in pairwise(times)):
        raise Refusal("the stretches do not follow each other in time: measure bare, film, bare in this order", 2)
    bares = [s.mean for s in stretches[0::2]]
    if any(s.mean <= LEAST_SIGNAL * math.hypot(s.u, zero_u) or s.mean <= 0 for s in stretches[0::2]):
        raise Refusal("no light on the bare sensor: switch the lamp on, or take it into the sun")
    if max(bares) > MOST_DRIFT * min(bares):
        raise Refusal(f"the light changed too much, by {max(bares) / min(bares):.1f} times: wait for a steady sky")


class Fit(msgspec.Struct, frozen=True):
    """The negative's range against the paper's exposure scale, both in density (log10).

    word: "thin" (range too short), "dense" (too long), "fits", or "close" (too close to tell). excess: range - scale.
    """

    word: str
    excess: Estimate
    sentence: str


def fits_paper(highlight: Film | Estimate, shadow: Film | Estimate, exposure_scale: float | Estimate) -> Fit:
    """Whether a negative fits a paper. highlight: its densest part, that prints lightest; shadow: its thinnest (clear
    film, or the base). exposure_scale: log10 range of the paper.

    When the clear film prints the full dark tone, the densest part gets 10^-range of that dose; the paper begins to
    show tone at 10^-scale of it. So a range shorter than the scale leaves tone in what should be lightest, and a longer
    one leaves tones there that do not print. Up to 0.10 (a third of a stop) fits (common practice, no source).
    Raises `Refusal` (code 2) for a scale that is no number above 0, and for patches that may be swapped.
    """
    h, s = (d.density if isinstance(d, Film) else d for d in (highlight, shadow))
    x = exposure_scale if isinstance(exposure_scale, Estimate) else Estimate(*[exposure_scale] * 3)
    if not (math.isfinite(x.best) and x.best > 0):
        raise Refusal(f"exposure scale {x.best:g}: give a number above zero, such as 1.4", 2)
    if h.best <= s.best:
        raise Refusal("the highlight patch is not denser than the shadow patch: the two may be swapped", 2)
    best = (h.best - s.best) - x.best
    below = math.sqrt((h.best - h.low) ** 2 + (s.high - s.best) ** 2 + (x.high - x.best) ** 2)
    above = math.sqrt((h.high - h.best) ** 2 + (s.best - s.low) ** 2 + (x.best - x.low) ** 2)
    e = Estimate(best - below, best, best + above)
    by = f"{abs(best):.2f}"
    stops = f"{abs(best) / STOP_LOG10:.1f} stop"
    if e.low >= -FITS_WITHIN and e.high <= FITS_WITHIN:
        return Fit("fits", e, f"this negative fits this paper: its range is the paper's within {FITS_WITHIN:.2f}")
    when = "for this paper: when its clear parts print at full tone, its lightest tones get"
    if best < -FITS_WITHIN and e.high < 0:
        return Fit("thin", e, f"this negative is {by} too thin {when} {stops} too much and will print dark; give it "
                   "more density there, or take a paper or process of shorter scale")  # fmt: skip
    if best > FITS_WITHIN and e.low > 0:
        return Fit("dense", e, f"this negative is {by} too dense {when} {stops} too little and will be blank; give it "
                   "less density there, or take a paper or process of longer scale")  # fmt: skip
    return Fit("close", e, f"too close to tell: this negative's range is {best:+.2f} ({e.low:+.2f} to {e.high:+.2f}) "
               "from the paper's scale; measure longer or in stronger light")  # fmt: skip
