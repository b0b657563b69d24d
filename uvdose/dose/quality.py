"""Quality of a stream of readings: what its own values say about the sensor. Pure; decided from the last 120 readings.

Each finding has a key, words for the person, and its effect on the dose (`findings`). It is raised within seconds and
cleared with hysteresis. What alone changes a dose, a value that stands still, is told by `standing`.
"""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise
from operator import sub

from ..units import US_PER_S
from .standing import CLEAR_RUN, NOISE_MIN, Standing, noise_of

NOISE_SHARE, NOISE_CLEAR = 0.2, 0.1
NOISE_HOLD = 120  # between the two it stays told for so many seconds
# So long the values that noise is told from may be under way. Where they come seldomer a cloud's edge lies between each
# two, and the light jumps as a loose wire does. Sun and shade in turns of a minute, as a draw (invented, 80 hours):
# told never at 1 s, once in three hours at 5 s, twice an hour at 10 s.
NOISE_SPAN_US = 120 * US_PER_S
DIM_W_M2, DIM_SHARE = 1.0, 0.02
NO_LIGHT_SHARE, NO_LIGHT_US = 0.01, 5 * US_PER_S
# The sun takes no more of its light off a plane in a second than 2 pi / 86,400 of its beam, the brightest there is (the
# cosine of an angle that turns by 15 degrees an hour). Twice that is no dusk, whatever haze and horizon add.
DUSK_PER_S = 2 * 2 * math.pi / 86_400
SUN_W_M2 = 100.0  # no sun gives more ultraviolet: 1,000 W/m² of all its light hold some 50 (ASTM G173)
BRIGHT_SHARE = 0.1  # of the last values; a dusk's last two of 120 lie far below it
NEGATIVE_RUN = 5
ABSURD_W_M2 = 2000.0


class Quality(Standing):
    """Watches the values of one sensor. factor: W/m² per unit, None for a sensor without a scale."""

    def __init__(self, zero: float, full_scale: float | None, factor: float | None) -> None:
        super().__init__(zero, full_scale, factor)
        self._times: deque[int] = deque(maxlen=NOISE_MIN)
        self._negative = 0
        self._dark_since_us: int | None = None
        self._dark_level = 0.0
        self._leapt = False

    def leapt(self) -> None:
        """The register rose by more than there can have been: told with the value that is added next."""
        self._leapt = True

    def add(self, t_us: int, value: float, saturated: bool) -> set[str]:
        """Take one value in; returns the keys of what is wrong now."""
        self._stand(t_us, value, saturated)
        self._times.append(t_us)
        self._negative = self._negative + 1 if value < self._zero and self._is_negative(value) else 0
        self._judge("saturated", saturated)
        self._judge("negative", self._negative >= NEGATIVE_RUN)
        self._judge("no-light", self._is_without_light(t_us, value))
        self._judge("leapt", self._leapt)
        self._leapt = False
        self._judge("out-of-range", self._factor is not None and self._factor * (value - self._zero) > ABSURD_W_M2)
        if t_us // US_PER_S != self._last_us // US_PER_S:
            share = self._noise_share()
            wrong = share > NOISE_SHARE and self._turns_back()
            self._judge("noisy", wrong, clear_run=NOISE_HOLD if share > NOISE_CLEAR else CLEAR_RUN)
        self._last_us = t_us
        return self.found

    def is_moved_by(self, t_us: list[int], values: list[float]) -> bool:
        """Whether values, none of them saturated, might change what is found; else `add_sound` takes them all."""
        if super().is_moved_by(t_us, values):
            return True
        if self._leapt or self._dark_since_us is not None or len(self._values) < 4:
            return True
        least, most = min(values), max(values)
        if least < self._zero:
            return True
        if self._factor is not None and self._factor * (most - self._zero) > ABSURD_W_M2:
            return True
        v = self._values
        level = max(most, v[-1], v[-2], v[-3], v[-4]) - self._zero
        if least - self._zero <= NO_LIGHT_SHARE * level and self._may_be_lit(level):
            return True
        return self._may_jump(t_us, values, least, most)

    def add_sound(self, t_us: list[int], values: list[float]) -> None:
        """Take in values that move nothing, see `is_moved_by`."""
        super().add_sound(t_us, values)
        self._negative = 0
        self._times.extend(t_us)

    def _may_be_lit(self, level: float) -> bool:
        """Whether any level up to this may be light to print by, whatever the noise."""
        return self._is_lit(level, 0.0)

    def _may_jump(self, t_us: list[int], values: list[float], least: float, most: float) -> bool:
        """Whether noise may be told at the begin of any second among these values: where it can be none is told first
        from how far they lie apart, as no second difference is larger than twice that.
        """
        v = self._values
        last = [v[i] for i in range(-min(len(v), NOISE_MIN), 0)]
        lowest, known = min(least, *last), last + values
        if _calm(max(most, *last) - lowest, lowest - self._zero):
            return False
        if _calm(max(map(abs, map(sub, known[1:], known))), lowest - self._zero):
            return False
        seconds = [t // US_PER_S for t in (self._last_us, *t_us)]
        for i in range(1, len(seconds)):
            if seconds[i] != seconds[i - 1]:
                window = known[max(0, len(last) + i - NOISE_MIN) : len(last) + i]
                if self._jumps(window):
                    return True
        return False

    def _jumps(self, window: list[float]) -> bool:
        """Whether the last values are noise as far as they alone can tell."""
        if len(window) < NOISE_MIN:
            return False
        noise, level = noise_of(window), sorted(window)[NOISE_MIN // 2] - self._zero
        return self._is_lit(level, noise) and noise > NOISE_SHARE * level

    def _is_without_light(self, t_us: int, value: float) -> bool:
        """Whether the light has been gone for some seconds, and went quicker than any dusk takes it.

        The line in whose second it went still holds some of it, so that two before are looked at.
        """
        values = self._values
        if self._dark_since_us is not None and value > self._dark_level:
            self._dark_since_us = None
        if self._dark_since_us is None and len(values) > 3:
            level = min(values[-3], values[-4]) - self._zero
            gone = level > 0 and value - self._zero <= NO_LIGHT_SHARE * level
            if gone and self._is_lit(level, self.noise(2)) and level > self._dusk(t_us - self._times[-3]):
                self._dark_since_us, self._dark_level = t_us, self._zero + NO_LIGHT_SHARE * level
        return self._dark_since_us is not None and t_us - self._dark_since_us >= NO_LIGHT_US and self._negative == 0

    def _dusk(self, lasting_us: int) -> float:
        """As much as a dusk may have taken off in so long, in the unit."""
        seconds = lasting_us / US_PER_S
        if self._factor is not None:
            return DUSK_PER_S * seconds * SUN_W_M2 / self._factor
        if self._full_scale is not None:
            return DUSK_PER_S * seconds * (self._full_scale - self._zero)
        step = self._step(2)
        return max(BRIGHT_SHARE * (max(self._values) - self._zero), 2 * step if step < math.inf else 0.0)

    def _noise_share(self) -> float:
        """Noise as a share of the light, 0 where the light is too weak or the readings too rare to tell anything."""
        noise = self.noise()
        if noise == 0 or self._times[-1] - self._times[0] > NOISE_SPAN_US:
            return 0.0
        level = sorted(self._values[i] for i in range(-NOISE_MIN, 0))[NOISE_MIN // 2] - self._zero
        return noise / level if self._is_lit(level, noise) else 0.0  # in the dark noise is all there is

    def _turns_back(self) -> bool:
        """Whether the last steps rather take each other back than go on: a dusk is curved, and no noise."""
        steps = [b - a for a, b in pairwise(self._values[i] for i in range(-NOISE_MIN, 0))]
        return sum(a * b for a, b in pairwise(steps)) < 0

    def _is_lit(self, level: float, noise: float) -> bool:
        """Whether a level above zero is light to print by, as far as scale or full scale tell; else no mere noise."""
        if self._factor is not None:
            return self._factor * level >= DIM_W_M2
        if self._full_scale is not None:
            return level >= DIM_SHARE * (self._full_scale - self._zero)
        return level > 2 * noise

    def _is_negative(self, value: float) -> bool:
        span = self._full_scale - self._zero if self._full_scale is not None else max(map(abs, self._values))
        return value - self._zero < -max(3 * self.noise(), 0.005 * span)


def _calm(step: float, level: float) -> bool:
    """Whether values that are no further apart, one from the next, are too near each other to be noise that is told."""
    return 2 * step / (0.6745 * math.sqrt(6)) <= NOISE_SHARE * level
