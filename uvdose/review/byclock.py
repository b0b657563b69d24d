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

    A print that was taken in before the clock's time is taken to lie on. None where the sensor's readings do not reach
    so far. About: light goes straight from reading to reading.
    """
    if not in_light or clear <= 0 or len(read.t_us) < 2 or read.t_us[0] > in_light[0].start_us:
        return None
    clock_s, last_us = target_dose / clear, int(read.t_us[-1])
    spent_s = dose = 0.0
    by_then = needed_s = None
    for k, stretch in enumerate(in_light):
        lies_on = k == len(in_light) - 1
        inner = read.t_us[(read.t_us > stretch.start_us) & (lies_on | (read.t_us < stretch.stop_us))]
        t = np.concatenate([[stretch.start_us], inner, [] if lies_on else [stretch.stop_us]]).astype(np.int64)
        t = t[t <= last_us]
        if len(t) < 2:
            continue
        seconds = (t - t[0]) / US_PER_S
        doses = dose + read.dose_until(t) - float(read.dose_until(t[:1])[0])
        if by_then is None and spent_s + seconds[-1] >= clock_s:
            at_us = np.array([t[0] + round((clock_s - spent_s) * US_PER_S)])
            by_then = dose + float((read.dose_until(at_us) - read.dose_until(t[:1]))[0])
        reached = np.flatnonzero((doses >= target_dose) & (t <= stretch.stop_us))
        if needed_s is None and len(reached):
            at = int(reached[0])
            part = 1.0 if at == 0 else (target_dose - doses[at - 1]) / max(doses[at] - doses[at - 1], 1e-300)
            needed_s = float(spent_s + (seconds[at - 1] + part * (seconds[at] - seconds[at - 1]) if at else 0.0))
        spent_s, dose = spent_s + float(seconds[-1]), float(doses[-1])
    return None if by_then is None else ByClock(clear, clock_s, by_then, needed_s)
