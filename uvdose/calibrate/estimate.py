"""A value with its 95 % interval. In this room mostly a log10 of a dose, or a density: both dimensionless."""

from __future__ import annotations

import math

import msgspec
import numpy as np
import numpy.typing as npt

from ..units import STOP_LOG10

FloatArray = npt.NDArray[np.float64]


class Estimate(msgspec.Struct, frozen=True):
    """best: the value to use. low, high: the ends of the interval that holds the truth in 95 of 100 cases."""

    low: float
    best: float
    high: float

    @classmethod
    def exactly(cls, value: float) -> Estimate:
        """A value that is known without doubt."""
        return cls(value, value, value)

    @classmethod
    def around(cls, best: float, half: float) -> Estimate:
        """best, give or take half the interval."""
        return cls(best - half, best, best + half)

    @classmethod
    def from_samples(cls, samples: FloatArray, best: float) -> Estimate:
        """The 2.5 and 97.5 percentiles of replicates; those that are not finite are set aside."""
        good = samples[np.isfinite(samples)]
        if len(good) == 0:
            return cls.exactly(best)
        low, high = np.percentile(good, (2.5, 97.5))
        return cls(min(float(low), best), best, max(float(high), best))

    @property
    def half_stops(self) -> float:
        """Half the width of the interval in stops, of an estimate that is a log10."""
        return (self.high - self.low) / (2 * STOP_LOG10)

    def shifted(self, by: float) -> Estimate:
        """The same interval, moved."""
        return Estimate(self.low + by, self.best + by, self.high + by)

    def exp10(self) -> Estimate:
        """The plain number of which this is the log10."""
        return Estimate(10**self.low, 10**self.best, 10**self.high)

    def plus(self, other: Estimate) -> Estimate:
        """The sum of two independent estimates: each side's distances combine as the GUM combines parts."""
        best = self.best + other.best
        below = math.hypot(self.best - self.low, other.best - other.low)
        above = math.hypot(self.high - self.best, other.high - other.best)
        return Estimate(best - below, best, best + above)

    def minus(self, other: Estimate) -> Estimate:
        """The difference of two independent estimates."""
        return self.plus(Estimate(-other.high, -other.best, -other.low))
