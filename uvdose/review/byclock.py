"""What a clock would have done: the dose of a fixed time in the light that really fell."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ..units import US_PER_S
from .recorded import Recorded, Stretch


class ByClock(NamedTuple):
    """clear: the steady irradiance that the clock was set by, in the unit of the screen. clock_s: the time that
    the target takes in it. dose: what that time gave under the real light. needed_s: time in the light that the target
    took, None where it was not reached."""

    clear: float
    clock_s: float
    dose: float
    needed_s: float | None


def by_clock(read: Recorded, in_light: Sequence[Stretch], target_dose: float, clear: float) -> ByClock | None:
    """Set a clock by `clear` light and run it over a print's stretches in the light, holds left out. in_light: in dose
    time.

    None where no readings tell what came of it.
    """
    if clear <= 0:
        return None
    clock_s = target_dose / clear
    dose = dose_of(read, in_light, clock_s)
    return None if dose is None else ByClock(clear, clock_s, dose, _time_of(read, in_light, target_dose))


def dose_of(read: Recorded, in_light: Sequence[Stretch], clock_s: float) -> float | None:
    """The dose that a print would have got in so much time from its own start on, holds left out. in_light: dose time.

    A print that was taken in before is taken to lie on. None where no readings tell it: they do not reach so far, or
    leave a hole that is too long to be bridged. About: light goes straight from reading to reading.
    """
    dose, left_us = 0.0, round(clock_s * US_PER_S)
    for k, stretch in enumerate(in_light):
        lies_on = k == len(in_light) - 1
        ends = np.array([stretch.start_us, stretch.start_us + left_us])
        if not lies_on:
            ends[1] = min(ends[1], stretch.stop_us)
        if not read.reaches(*ends):
            return None
        begin, end = read.dose_until(ends)
        dose, left_us = dose + float(end - begin), left_us - int(ends[1] - ends[0])
        if left_us <= 0:
            return dose
    return None


def _time_of(read: Recorded, in_light: Sequence[Stretch], target_dose: float) -> float | None:
    """Seconds in the light until the dose was there; None where it never was."""
    dose = spent_s = 0.0
    for stretch in in_light:
        first, last = np.searchsorted(read.t_us, [stretch.start_us + 1, stretch.stop_us])
        inner = read.t_us[first:last]
        t = np.concatenate([[stretch.start_us], inner, [stretch.stop_us]]).astype(np.int64)
        doses = dose + read.dose_until(t) - float(read.dose_until(t[:1])[0])
        seconds = spent_s + (t - t[0]) / US_PER_S
        reached = np.flatnonzero(doses >= target_dose)
        if len(reached):
            return float(np.interp(target_dose, doses[: reached[0] + 1], seconds[: reached[0] + 1]))
        dose, spent_s = float(doses[-1]), float(seconds[-1])
    return None
