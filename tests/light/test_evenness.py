"""A bed's evenness from a walked grid: closed forms, a lamp that drifts meanwhile, places left out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from uvdose.light.evenness import evenness


def test_an_even_bed() -> None:
    found = evenness([[2.0, 2.0], [2.0, 2.0]])
    assert (found.min_over_mean, found.max_over_mean, found.stops, found.drift) == (1.0, 1.0, 0.0, 0.0)


def test_under_a_small_lamp() -> None:
    """A point over the middle at height h: E falls as (h / sqrt(h² + r²))⁴ on a level bed (inverse square and two
    cosines, textbooks of photometry). At r = h that is a quarter: two stops."""
    h, side = 1.0, np.linspace(-1, 1, 5)
    rows = [[10 / (1 + (x**2 + y**2) / h**2) ** 2 for x in side] for y in side]
    found = evenness(rows)
    assert found.stops == pytest.approx(math.log2((1 + 2) ** 2))
    assert found.relative[2][2] == pytest.approx(found.max_over_mean)
    assert found.darkest in ((0, 0), (0, 4), (4, 0), (4, 4))
    assert evenness([rows[2]]).stops == pytest.approx(2.0)
    assert np.mean([v for row in found.relative for v in row if v is not None]) == pytest.approx(1.0)


def test_a_lamp_that_fades_on_the_walk_is_seen_and_taken_out() -> None:
    truth = np.array([[4.0, 5.0, 6.0], [5.0, 7.0, 5.0]])
    fade = 1 - 0.12 * (np.arange(6) / 6).reshape(2, 3)
    walked = (truth * fade).tolist()
    found = evenness(walked, first_again=4.0 * (1 - 0.12))
    assert found.drift == pytest.approx(-0.12)
    assert np.array(found.relative, dtype=float) == pytest.approx(truth / truth.mean())
    assert evenness(walked).stops != pytest.approx(found.stops)


def test_places_left_out_stay_out() -> None:
    found = evenness([[None, 2.0], [4.0, None]])
    assert found.relative[0][0] is None and found.stops == 1.0 and found.darkest == (0, 1)


@pytest.mark.parametrize("rows", [[], [[]], [[1.0]], [[1.0, 2.0], [1.0]], [[1.0, 0.0]], [[1.0, -1.0]], [[None, None]],
                                  [[1.0, 2.0, float("inf")]]])
def test_what_is_no_walk(rows: list[list[float | None]]) -> None:
    with pytest.raises(ValueError, match="evenness"):
        evenness(rows)


def test_the_first_place_is_needed_for_the_drift() -> None:
    for rows, again in (([[None, 2.0, 3.0]], 2.0), ([[1.0, 2.0]], 0.0)):
        with pytest.raises(ValueError, match="first place"):
            evenness(rows, again)
