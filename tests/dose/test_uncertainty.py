"""The interval of a dose: combined as the GUM does, and holding the truth as often as it says."""

from __future__ import annotations

import math
import os
import random
from collections import Counter

import pytest
from faults.measured import exact_dose, textured
from scipy.stats import t as student

from uvdose.dose.account import Account, Figures
from uvdose.dose.integrator import Track
from uvdose.dose.response import Response
from uvdose.dose.uncertainty import Z95, Z99, Part, combine, coverage_factor
from uvdose.model import Mark, MomentReading

CASES = int(os.environ.get("UVDOSE_CASES", "1000"))


def test_gum_end_gauge() -> None:
    # Source: JCGM 100:2008, H.1: u 32 nm, effective degrees of freedom 16, k99 2.92, U99 93 nm. Parts from its
    # Table H.1 (25 nm, 18; 9.7 nm, 25.6; 2.9 nm, 50; 16.6 nm, 2).
    u, dof = combine([Part("standard", 25, 18), Part("difference", 9.7, 25.6), Part("expansion", 2.9, 50),
                      Part("temperature", 16.6, 2)])  # fmt: skip
    assert round(u) == 32
    assert math.floor(dof) == 16
    assert coverage_factor(math.floor(dof), Z99) == pytest.approx(2.92, abs=5e-3)
    assert coverage_factor(math.floor(dof), Z99) * round(u) == pytest.approx(93, abs=0.6)


@pytest.mark.parametrize("dof", [4, 5, 8, 16, 40, 200])
def test_coverage_factor_is_students(dof: float) -> None:
    # Source: scipy.stats.t.
    assert coverage_factor(dof) == pytest.approx(student.ppf(0.975, dof), rel=3e-3)
    assert coverage_factor(math.inf) == Z95


@pytest.mark.parametrize("dof", [1e29, 1e31, 1e110, 1e300])
def test_a_part_that_is_next_to_nothing_beside_the_others_ends_nothing(dof: float) -> None:
    """A register that leaps makes one part of an interval outweigh the rest by far, and the degrees of freedom huge."""
    assert coverage_factor(dof) == Z95


def _case(seed: int, kind: str) -> tuple[Figures, float]:
    """One print on textured measured light, its sensor's faults drawn from what the response states.

    all: zero and scale off, noise, lost readings, holes of 12-60 s. bridges: only holes. readings: no zero or scale.
    """
    rng = random.Random(seed)
    light = textured(rng.randrange(30) * 1440 + rng.randrange(360, 1020), 50, rng)
    zero_u, repeat_u = (0.1, 0.005) if kind == "all" else (0.0, 0.0)
    gain, zero = 1 + rng.gauss(0, repeat_u), rng.gauss(0, zero_u)
    every_s = rng.choice([1, 1, 2, 5])
    noise = 0.0 if kind == "bridges" else rng.choice([0.0, 0.02])
    loss = 0.0 if kind == "bridges" else rng.choice([0.0, 0.3])
    response = Response(1.0, 0.0, None, "mJ/cm2", zero_u, repeat_u)
    track, account = Track(response), Account(response)
    a = 15 * 60 + rng.uniform(0, 60)
    b = a + rng.uniform(300, 1500)
    account.open(Mark(int(a * 1e6)))
    account.close(Mark(int(b * 1e6)))
    begins = [rng.uniform(a, b) for _ in range(rng.choice([1, 2, 3] if kind == "bridges" else [0, 1, 2, 4]))]
    holes = [(h, h + rng.uniform(12, 60)) for h in begins]
    for s in range(0, len(light) - 1, every_s):
        if any(h0 <= s <= h1 for h0, h1 in holes) or rng.random() < loss:
            continue
        value = gain * light[s] * (1 + rng.gauss(0, noise)) + zero
        for segment in track.feed(MomentReading(value), s * 1_000_000):
            account.add(segment)
        if s >= b:
            break  # whatever comes later lies outside the print
    return account.figures(), exact_dose(light, a, b)


@pytest.mark.timeout(300)
@pytest.mark.parametrize("kind", ["all", "bridges", "readings"])
def test_the_interval_holds_the_truth_as_often_as_it_says(kind: str) -> None:
    """95 % within 93-97 % of the cases. Source of the light: BSRN Payerne, June 2016."""
    where: Counter[str] = Counter()
    widths = []
    for seed in range(CASES):
        f, truth = _case(seed, kind)
        where["below" if truth < f.low else "above" if truth > f.high else "within"] += 1
        widths.append(math.log2(f.high / f.low) if f.low > 0 else math.inf)
    widths.sort()
    print(f"\n{kind}: {dict(where)} of {CASES}, median width {widths[CASES // 2]:.4f} stop")
    assert 0.93 <= where["within"] / CASES <= 0.97
