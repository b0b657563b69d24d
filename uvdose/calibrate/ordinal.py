"""What a few judged prints say about the right dose: an ordinal model over log2 dose, worked out on a grid.

The print at dose d lies z = log2 d - theta + noise stops from right; theta is log2 of the right dose. The noise is the
person's judging, the spread between sheets, and how well d itself is known, independent and normal. The person says
"light" below -window, "dark" above +window, "right" between (ordered probit; Agresti, Categorical Data Analysis,
section on cumulative link models). The prior of theta is Student's t around the calibration print.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from ..dose.uncertainty import Z95

Array = NDArray[np.float64]

PRIOR_DOF = 4.0
PRIOR_LEAST_STOPS = 0.3
GRID_STOPS = 1 / 128
REACH_STOPS = 4.0
STOPS_SHARE = 0.25
STOPS_ROUNDED = 0.25
SLIP_SPAN_STOPS = 4.0
_TABLE_Z = np.arange(-9.0, 0.0005, 0.001)
_TABLE_P = np.array([0.5 * math.erfc(-z / math.sqrt(2)) for z in _TABLE_Z])


class Eye(msgspec.Struct, frozen=True):
    """How a person judges. All in stops but slip.

    judging_stops, spread_stops: standard deviation of the judging, and between sheets of one coat. window_stops: a
    print within so much of right is called right. slip: share of judgements that say nothing, such as a wrong key.
    """

    judging_stops: float = 1 / 8
    spread_stops: float = 1 / 12
    window_stops: float = 1 / 8
    slip: float = 0.01


class Seen(msgspec.Struct, frozen=True):
    """One judged print for the model: log2 of its dose; side -1 light, 0 right, +1 dark; stops where they were told.

    dose_u_stops: standard uncertainty of the dose. stops_u: of the stops, None for what a person's guess is worth.
    """

    log2_dose: float
    side: int
    dose_u_stops: float = 0.0
    stops: float | None = None
    stops_u: float | None = None


class Posterior(msgspec.Struct, frozen=True):
    """Right dose as log2: mean, 95 % interval; log_evidence compares two eyes over the same prints."""

    mean: float
    low: float
    high: float
    log_evidence: float


def normal_below(z: Array) -> Array:
    """Probability that a standard normal lies below z, from a table of erfc (better than 1e-6, relative 2e-5 in the
    lower tail; below -9 as at -9)."""
    lower: Array = np.interp(-np.abs(z), _TABLE_Z, _TABLE_P)
    return np.where(z > 0, 1 - lower, lower)


def likelihood(theta: Array, seen: Seen, eye: Eye) -> Array:
    """Probability (for told stops: density) of what was said of one print, for each theta."""
    off = seen.log2_dose - theta
    common2 = eye.spread_stops**2 + seen.dose_u_stops**2
    if seen.stops is not None:
        # A person tells large errors less exactly than small ones, and rounds to about a quarter.
        guess2 = eye.judging_stops**2 + (STOPS_SHARE * seen.stops) ** 2 + STOPS_ROUNDED**2 / 12
        sd = math.sqrt(common2 + (guess2 if seen.stops_u is None else seen.stops_u**2))
        said: Array = np.exp(-0.5 * ((seen.stops - off) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
        return (1 - eye.slip) * said + eye.slip / SLIP_SPAN_STOPS
    sd = math.sqrt(common2 + eye.judging_stops**2)
    if seen.side:
        said = normal_below((seen.side * off - eye.window_stops) / sd)
    else:
        far = np.abs(off)  # by symmetry; both in the lower tail, where the difference keeps its digits
        said = normal_below((eye.window_stops - far) / sd) - normal_below((-eye.window_stops - far) / sd)
    return (1 - eye.slip) * said + eye.slip / 3


def prior_scale(half_stops: float) -> float:
    """Scale of the prior from the calibration print's 95 % half-width, in stops.

    At least 0.3: a later sheet, coat or day is never as near to the calibration print as its own interval says.
    """
    return max(PRIOR_LEAST_STOPS, half_stops / Z95)


def posterior(centre: float, scale: float, prints: Sequence[Seen], eye: Eye) -> Posterior:
    """The right dose given the prints. centre: log2 of the calibrated dose. scale: of the prior, stops."""
    theta, weight, log_evidence = weights(centre, scale, prints, eye)
    below = np.cumsum(weight) - weight / 2
    low, high = np.interp([0.025, 0.975], below, theta)
    return Posterior(float(weight @ theta), float(low), float(high), log_evidence)


def weights(
    centre: float, scale: float, prints: Sequence[Seen], eye: Eye, step: float = GRID_STOPS
) -> tuple[Array, Array, float]:
    """Grid of theta every `step` stops, posterior weight of each point (sum 1), and log of the evidence."""
    reach = REACH_STOPS + 4 * scale + max((abs(p.log2_dose - centre) for p in prints), default=0.0)
    n = math.ceil(reach / step)
    theta: Array = centre + np.arange(-n, n + 1, dtype=np.float64) * step
    t2 = ((theta - centre) / scale) ** 2
    log_p = -0.5 * (PRIOR_DOF + 1) * np.log1p(t2 / PRIOR_DOF)
    log_p -= math.log(float(np.exp(log_p).sum()))
    for p in prints:
        log_p = log_p + np.log(np.maximum(likelihood(theta, p, eye), 1e-300))
    top = float(log_p.max())
    p_grid: Array = np.exp(log_p - top)
    total = float(p_grid.sum())
    return theta, p_grid / total, top + math.log(total)


OWN_BOUNDS = (1 / 16, 1 / 2)
JUDGEMENTS_ENOUGH = 8
_OWN_LOG_SD = 0.5
_OWN_GRID_STOPS = 1 / 32  # a third of the least noise there can be: sheets alone differ by 1/12


def own_habits(groups: Sequence[tuple[float, float, Sequence[Seen]]], eye: Eye) -> Eye:
    """A person's own judging noise and window, from judged prints of one or more targets: (centre, scale, prints) each.

    From eight judgements on: means of their logarithms under the evidence, each with a log-normal prior around the
    eye's own (a factor of 1.65 either way), between 1/16 and 1/2 stop. Fewer leave the eye as it is.
    """
    if sum(len(prints) for _, _, prints in groups) < JUDGEMENTS_ENOUGH:
        return eye
    logs = np.linspace(math.log(OWN_BOUNDS[0]), math.log(OWN_BOUNDS[1]), 9)
    noise2 = ((logs - math.log(eye.judging_stops)) / _OWN_LOG_SD) ** 2
    window2 = ((logs - math.log(eye.window_stops)) / _OWN_LOG_SD) ** 2
    score = -0.5 * (noise2[:, None] + window2[None, :])
    for i, j in np.ndindex(score.shape):
        tried = msgspec.structs.replace(eye, judging_stops=math.exp(logs[i]), window_stops=math.exp(logs[j]))
        score[i, j] += sum(weights(*group, tried, _OWN_GRID_STOPS)[2] for group in groups)
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    judging, window = (math.exp(float(weight.sum(axis) @ logs)) for axis in (1, 0))
    return msgspec.structs.replace(eye, judging_stops=judging, window_stops=window)
