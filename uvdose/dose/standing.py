"""Standing: whether a sensor's value stands still as it never did, so that it is no measurement any more. Pure.

A value that stands still is frozen only where the sensor's own noise spans several of its steps: a steady lamp, a
coarse converter in a clear sky and a quiet sensor may all say the same number for minutes.

Whether a standing value can be frozen is settled once, at its sixth repeat, by the values before it, and holds for as
long as it stands. That is all that reaches back further than the last readings: a replay that goes back to where the
value last moved (`journal.replay`) comes to the same.
"""

from __future__ import annotations

import math
from collections import deque
from itertools import islice, pairwise
from operator import eq

from ..units import US_PER_S

LOOK_BACK = 120
FROZEN_US = 5 * US_PER_S
FROZEN_RUN = 12
JUDGED_RUN = FROZEN_RUN // 2
FROZEN_STEPS = 2.0  # noise of so many steps of the converter repeats a value once in seven times, twelve times never
NOISE_MIN = 24
WHITE_MIN, WHITE = 60, -0.3
CLEAR_RUN = 10


class Standing:
    """Watches the values of one sensor. found: what is wrong now, by its key: `frozen` or nothing."""

    def __init__(self, zero: float, full_scale: float | None, factor: float | None) -> None:
        self._zero = zero
        self._full_scale = full_scale
        self._factor = factor
        self._values: deque[float] = deque(maxlen=LOOK_BACK)
        self._can_freeze = False
        self._run = 0
        self._run_since_us = 0
        self._last_us = 0
        self._well: dict[str, int] = {}
        self.found: set[str] = set()

    def respond(self, zero: float, full_scale: float | None, factor: float | None) -> None:
        """The sensor's settings are others from the next value on."""
        self._zero, self._full_scale, self._factor = zero, full_scale, factor

    def leapt(self) -> None:
        """The register rose by more than there can have been."""

    def add(self, t_us: int, value: float, saturated: bool) -> set[str]:
        """Take one value in; returns the keys of what is wrong now."""
        self._stand(t_us, value, saturated)
        self._last_us = t_us
        return self.found

    @property
    def settled(self) -> bool:
        """Whether a value that goes on to stand is no finding, as it was settled or does not stand."""
        return not self.found and not self._can_freeze and (self._run == 0 or self._run >= JUDGED_RUN)

    def is_moved_by(self, t_us: list[int], values: list[float]) -> bool:
        """Whether values, none of them saturated, might change what is found, or stand so long that they are judged."""
        if self.found or not self._values:
            return True
        again = bytes(map(eq, values, [self._values[-1], *values]))
        judged = self._run >= JUDGED_RUN and not self._can_freeze  # then it may go on to stand
        return b"\1" * JUDGED_RUN in (again.lstrip(b"\1") if judged else b"\1" * self._run + again)

    def add_sound(self, t_us: list[int], values: list[float]) -> None:
        """Take in values that move nothing, see `is_moved_by`."""
        last, count = values[-1], len(values)
        repeats = next((i for i in range(count - 1) if values[-2 - i] != last), count - 1)
        if repeats == count - 1 and self._values[-1] == last:
            repeats = count
        self.go_on(count, repeats, t_us[-repeats - 1] if repeats < count else self._last_us, t_us[-1])
        self.remember(values)

    @property
    def stands(self) -> bool:
        """Whether the newest value is that of the one before."""
        return self._run > 0

    def go_on(self, count: int, repeats: int, since_us: int, t_us: int) -> None:
        """Readings were taken together, none of which changes what is found: so many, of which the newest `repeats`
        stand; since and t: dose times of the last that moved and of the newest. Their values come with `remember`.
        """
        if repeats < count:
            self._run, self._can_freeze = 0, False
        if repeats and self._run == 0:
            self._run_since_us = since_us
        self._run += repeats
        self._last_us = t_us

    def remember(self, values: list[float]) -> None:
        """The values of `go_on`, or the last `LOOK_BACK` of them."""
        self._values.extend(values)

    def _stand(self, t_us: int, value: float, saturated: bool) -> None:
        values = self._values
        if values and value == values[-1]:
            if self._run == 0:
                self._run_since_us = self._last_us
            self._run += 1
        else:
            self._run, self._can_freeze = 0, False
        values.append(value)
        if self._run == JUDGED_RUN:
            self._can_freeze = self._is_strange_to_stand(self._run)
        frozen = not saturated and self._run > 0 and self._is_frozen(t_us)
        self._judge("frozen", frozen, at_once=self._run == 0)

    def _judge(self, key: str, wrong: bool, at_once: bool = False, clear_run: int = CLEAR_RUN) -> None:
        """Raise at once; clear after some good readings, or at once where a single one proves it."""
        if wrong:
            self.found.add(key)
            self._well[key] = 0
        elif key in self.found:
            self._well[key] = self._well.get(key, 0) + 1
            if at_once or self._well[key] >= clear_run:
                self.found.discard(key)

    def _is_frozen(self, t_us: int) -> bool:
        return self._can_freeze and self._run >= FROZEN_RUN and t_us - self._run_since_us >= FROZEN_US

    def _is_strange_to_stand(self, run: int) -> bool:
        """Whether this sensor, by its values before the newest `run`, does not stand still in such light."""
        if self._values[-1] <= self._dark() or not self._is_white(run):
            return False
        noise = self.noise(run)
        return noise > 0 and noise >= FROZEN_STEPS * self._step()

    def _dark(self) -> float:
        """At or below this a value may stand still for hours: night, or a cap."""
        return self._zero + 0.01 * max(0.0, max(self._values) - self._zero)

    def _step(self, skip: int = 0) -> float:
        """The smallest change that the sensor has shown, in the unit, the newest `skip` values left out."""
        steps = pairwise(islice(self._values, len(self._values) - skip))
        return min((abs(b - a) for a, b in steps if a != b), default=math.inf)

    def noise(self, skip: int = 0) -> float:
        """Standard deviation of the reading-to-reading noise, in the unit, the newest `skip` values left out.

        From second differences, which a light that changes slowly leaves out: their median absolute value is
        0.6745 x sqrt(6) sigma for white noise. 0 where there are too few values.
        """
        v = self._values
        if len(v) < NOISE_MIN + skip:
            return 0.0
        return noise_of([v[i] for i in range(-NOISE_MIN - skip, -skip)])

    def _is_white(self, skip: int) -> bool:
        """Whether values before the newest `skip` moved as a converter's noise does, and not as light does.

        Steps of white noise take each other back (their autocorrelation at lag 1 is -1/2), those of light that wanders
        do not (0). Steps are cut at three times their median, so that a cloud's edge does not outweigh the rest.
        """
        v = [self._values[i] for i in range(len(self._values) - skip)]
        if len(v) < WHITE_MIN:
            return False
        steps = [b - a for a, b in pairwise(v)]
        most = 3 * sorted(map(abs, steps))[len(steps) // 2]
        cut = [min(most, max(-most, s)) for s in steps]
        square = sum(s * s for s in cut)
        return square > 0 and sum(a * b for a, b in pairwise(cut)) <= WHITE * square


def noise_of(values: list[float]) -> float:
    """See `Standing.noise`."""
    second = sorted(abs(values[i - 1] - 2 * values[i] + values[i + 1]) for i in range(1, len(values) - 1))
    return second[len(second) // 2] / (0.6745 * math.sqrt(6))
