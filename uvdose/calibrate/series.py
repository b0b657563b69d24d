"""A test strip by dose: one sheet, a card that is moved along it, and when to move it.

Doses rise from step 1 on by the same number of stops. Two ways give them: "cover" lays the card over step after step
while the sheet lies in the light; "uncover" begins under the card and opens the step first that gets most.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

import msgspec

from ..model import Refusal

Way = Literal["cover", "uncover"]
LEAST_STEPS, MOST_STEPS = 2, 15
LEAST_STEP_STOPS, MOST_STEP_STOPS = 0.1, 2.0


class Series(msgspec.Struct, frozen=True):
    """doses: of each step, rising, in the target's unit. step_stops: from each to the next."""

    doses: tuple[float, ...]
    step_stops: float


class Moment(NamedTuple):
    """When the card is moved: at what dose since the strip went into the light, in what words, and for which step."""

    dose: float
    words: str
    step: int


def plan_series(first: float, step_stops: float, count: int) -> Series:
    """Steps of first, first x 2^step, and so on. Raises `Refusal` (code 2) out of bounds."""
    if not LEAST_STEPS <= count <= MOST_STEPS:
        raise Refusal(f"{count} steps: a strip has {LEAST_STEPS} to {MOST_STEPS}", 2)
    if not LEAST_STEP_STOPS <= step_stops <= MOST_STEP_STOPS:
        raise Refusal(f"steps of {step_stops:g} stops: say {LEAST_STEP_STOPS:g} to {MOST_STEP_STOPS:g}, such as 0.5", 2)
    if not (math.isfinite(first) and first > 0):
        raise Refusal(f"dose {first:g} of a step: give a number above zero, such as 640", 2)
    return Series(tuple(first * 2.0 ** (step_stops * i) for i in range(count)), step_stops)


def plan_around(expected: float, step_stops: float, count: int) -> Series:
    """As many stops below the expected dose as above it: an odd count has it as its middle step. Raises `Refusal`."""
    if not (math.isfinite(expected) and expected > 0):
        raise Refusal(f"expected dose {expected:g}: give a number above zero, such as 2565", 2)
    plan_series(expected, step_stops, count)  # the bounds first: a large count would make the first dose nothing
    return plan_series(expected * 2.0 ** (-step_stops * (count - 1) / 2), step_stops, count)


def moments(series: Series, way: Way) -> list[Moment]:
    """When to move the card, by the dose since the strip went into the light.

    cover: the whole sheet lies open from 0 on; one moment a step. uncover: the sheet lies under the card; the first
    moment, at 0, opens the last step, and one more moment ends the strip.
    """
    count, last = len(series.doses), series.doses[-1]
    end = Moment(last, "cover all: done", count if _checked(way) == "cover" else 1)
    if way == "cover":
        return [Moment(dose, f"cover step {i}", i) for i, dose in enumerate(series.doses[:-1], 1)] + [end]
    return [Moment(last - series.doses[i - 1], f"uncover step {i}", i) for i in range(count, 0, -1)] + [end]


def given(series: Series, way: Way, actual_cumulative: Sequence[float]) -> tuple[float, ...]:
    """What each step really got, the card having been moved at these doses: one for each of `moments`, in order.

    With "uncover" the first, at 0, may be left out. Raises `Refusal` (code 2) where moves are missing or go back.
    """
    plan = moments(series, way)
    actual = list(actual_cumulative)
    if way == "uncover" and len(actual) == len(plan) - 1:
        actual.insert(0, 0.0)
    if len(actual) != len(plan):
        raise Refusal(f"{len(actual)} moves of the card are known, the strip has {len(plan)}: give the dose at each", 2)
    if not all(map(math.isfinite, actual)) or actual[0] < 0 or any(b < a for a, b in pairwise(actual)):
        raise Refusal("doses at which the card was moved start at 0 or above and rise: give them in that order", 2)
    if way == "cover":
        return tuple(actual)
    end = actual.pop()
    return tuple(end - at for at in reversed(actual))


def _checked(way: str) -> str:
    if way not in ("cover", "uncover"):
        raise Refusal(f"way {way!r}: say cover (open at first) or uncover (under a card at first)", 2)
    return way
