"""Prints on the measured month, what a forecast would have said of each, and how good that was.

Source of the light: BSRN station Payerne (46.815 N, 6.944 E, 491 m), June 2016 (support/payerne.py). Holding each
minute's mean for 60 s gives the true time. A forecast sees complete minutes alone: up to a minute less than the daemon.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from support.payerne import DAYS, MINUTES, day_w_m2
from uvdose.light.clearsky import Atmosphere
from uvdose.light.forecast import BLOCKS, Known, clouds, moved, weights, weights_of_time
from uvdose.light.path import Place
from uvdose.light.sun import position
from uvdose.light.uv import clear_uv

Array = npt.NDArray[np.float64]
PLACE = Place(46.815, 6.944, 491.0)
NOON_MINUTE = 693  # 11:33 UTC
TARGET_J_M2 = 25650.0  # nine minutes of clear noon light
SHARES = (0.25, 0.5, 0.75)
# The ends are fitted a little further out than 10 and 90 %: on days that the fit has not seen, that holds 80 %.
QUANTILES = (0.08, 0.5, 0.92)
# Half of what the other days say of the median: the whole of it is better on the mean of days, and worse on some.
# Without a place it is not shown to be better than the light of the last minute, which then stays.
TRUST = 0.5
_SMOOTH = {0.5: (2e-2, 2e-3)}  # weight of differences between neighbours, and of size
_SMOOTH_ENDS = (3e-4, 1e-7)


class Cases(NamedTuple):
    """Forecasts asked for: day, when (seconds of the month), dose left, true time, share of the dose; minutes before
    (newest first), and the same over a clear sky."""

    day: npt.NDArray[np.int64]
    at_s: Array
    remaining: Array
    true_s: Array
    share: Array
    minutes: Array
    index: Array

    def of(self, chosen: npt.NDArray[np.bool_] | slice) -> Cases:
        return Cases(*(field[chosen] for field in self))

    @property
    def at_light_s(self) -> Array:
        """The baseline: dose left over the irradiance of the last complete minute."""
        return self.remaining / self.minutes[:, 0]


class Month(NamedTuple):
    """Edges of minutes, seconds; measured dose and clear-sky dose up to each."""

    edges_s: Array
    dose: Array
    clear: Array


@cache
def month() -> Month:
    edges = np.arange(DAYS * MINUTES + 1) * 60.0
    light = np.concatenate([day_w_m2(d + 1) for d in range(DAYS)])
    utc = datetime(2016, 6, 1, tzinfo=UTC).timestamp() + edges
    sun = position(utc, PLACE.latitude_deg, PLACE.longitude_deg, PLACE.height_m)
    air = Atmosphere(height_m=PLACE.height_m)
    parts = [
        clear_uv(z, PLACE.plane, atmosphere=air, day_of_year=167.0, sun_azimuth_deg=a).irradiance_w_m2
        for z, a in zip(
            np.array_split(sun.apparent_zenith_deg, DAYS), np.array_split(sun.azimuth_deg, DAYS), strict=True
        )
    ]
    clear = np.concatenate(parts)
    return Month(
        edges, np.concatenate([[0.0], np.cumsum(light * 60.0)]),
        np.concatenate([[0.0], np.cumsum((clear[1:] + clear[:-1]) * 30.0)]),
    )  # fmt: skip


def cases(start_s: Array, target: Array, share: Array) -> Cases:
    """Forecasts at a share of the dose, of prints that begin at a second; those not done by evening fall out."""
    m = month()
    begun = np.interp(start_s, m.edges_s, m.dose)
    at, end = (np.interp(begun + target * part, m.dose, m.edges_s) for part in (share, 1.0))
    day = (start_s // 86400).astype(np.int64)
    done = end < day * 86400 + 19.2 * 3600
    at, end, day = at[done], end[done], day[done]
    minute = (at // 60).astype(np.int64)[:, None] - np.arange(16)
    light = np.diff(m.dose)[minute[:, 1:]] / 60.0
    clear = np.diff(m.clear)[minute[:, 1:]] / 60.0
    left = (target * (1 - share))[done]
    return Cases(day, at, left, end - at, share[done], np.maximum(light, 1e-3), light / np.maximum(clear, 1e-3))


def asked() -> Cases:
    """Every start minute within solar noon +-2 h on all days, at 25, 50 and 75 % of the dose: 21,690 forecasts."""
    starts = np.arange(NOON_MINUTE - 120, NOON_MINUTE + 121) * 60.0
    start, share = (a.ravel() for a in np.meshgrid((np.arange(DAYS) * 86400.0)[:, None] + starts, SHARES))
    return cases(start, np.full(start.shape, TARGET_J_M2), share)


def learned_from(per_day: int = 700) -> Cases:
    """Prints of all sizes (3 to 45 minutes of noon light) from 6:30 to 16:30 UTC, at any share: what is fitted to."""
    rng = np.random.default_rng(3)
    n = DAYS * per_day
    start = np.repeat(np.arange(DAYS) * 86400.0, per_day) + rng.uniform(6.5, 16.5, n) * 3600
    target = 47.5 * 60 * np.exp(rng.uniform(np.log(3), np.log(45), n))
    return cases(start, target, rng.uniform(0.05, 0.95, n))


class Fitted(NamedTuple):
    """Rows: low end, median, high end."""

    known: Known
    rows: Array


def truth_of(c: Cases, known: Known) -> Array:
    """What is fitted: log of the light that was needed, over the light of the last minute going on."""
    if known == "unplaced":
        return np.asarray(np.log(c.true_s / c.at_light_s))
    m = month()
    need = np.interp(c.at_s + c.true_s, m.edges_s, m.clear) - np.interp(c.at_s, m.edges_s, m.clear)
    return np.asarray(np.log(need * c.index[:, 0] / c.remaining))


def fit(c: Cases, known: Known) -> Fitted:
    """Quantile regression, smoothed, each case weighted by how still its light was."""
    seen = clouds(c.minutes if known == "unplaced" else c.index)
    y, w = truth_of(c, known), 1 / (0.03 + seen.rough)
    if known == "new":
        x, smooth, w = weights_of_time(c.at_light_s), np.zeros((BLOCKS[0][1],) * 2), np.ones(len(y))
    else:
        x, smooth = weights(seen, c.at_light_s), _roughness()
    rows = []
    for q in QUANTILES:
        rows.append(_quantile(x * (moved(seen)[:, None] if q == 0.5 else 1.0), y, q, w, smooth))
    rows[1] *= TRUST if known == "placed" else 0.0
    return Fitted(known, np.array(rows))


def logs(c: Cases, f: Fitted) -> Array:
    """Three rows, as `uvdose.light.forecast` has them."""
    seen = clouds(c.minutes if f.known == "unplaced" else c.index)
    x = weights_of_time(c.at_light_s) if f.known == "new" else weights(seen, c.at_light_s)
    low, median, high = (x @ row for row in f.rows)
    median = median * moved(seen)
    return np.array([np.minimum(low, median - 0.01), median, np.maximum(high, median + 0.01)])


def seconds(c: Cases, log: Array, known: Known) -> Array:
    """Log times to seconds: along the sun's path where the place is known."""
    if known == "unplaced":
        return np.asarray(c.at_light_s * np.exp(log))
    m = month()
    want = np.interp(c.at_s, m.edges_s, m.clear) + c.remaining * np.exp(log) / c.index[:, 0]
    return np.asarray(np.interp(want, m.clear, m.edges_s) - c.at_s)


def left_out(asked_of: Cases, learned: Cases, known: Known, fold: int = 1) -> Array:
    """Forecasts in seconds, each day's (each `fold` days') from a fit to the others."""
    out = np.zeros((3, len(asked_of.day)))
    for first in range(0, DAYS, fold):
        out_days = np.arange(first, first + fold)
        theirs = np.isin(asked_of.day, out_days)
        f = fit(learned.of(~np.isin(learned.day, out_days)), known)
        some = asked_of.of(theirs)
        out[:, theirs] = seconds(some, logs(some, f), known)
    return out


def baseline(c: Cases, fold: int = 1) -> Array:
    """The light of the last complete minute, with the quantiles of its error on the other days at the same share."""
    out = np.zeros((3, len(c.day)))
    error = np.log(c.true_s / c.at_light_s)
    for first in range(0, DAYS, fold):
        theirs = np.isin(c.day, np.arange(first, first + fold))
        for share in SHARES:
            at = theirs & (c.share == share)
            ends = np.quantile(error[~theirs & (c.share == share)], [0.1, 0.9])
            out[:, at] = c.at_light_s[at] * np.exp([[ends[0]], [0.0], [ends[1]]])
    return out


def relative_error(c: Cases, said: Array) -> Array:
    return np.asarray(np.abs(said[1] / c.true_s - 1))


def interval_score(c: Cases, said: Array) -> Array:
    """Of the log times, alpha 0.2. Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102, 359, eq. 43 (from memory)."""
    low, high, true = np.log(np.maximum(said[0], 1.0)), np.log(np.maximum(said[2], 1.0)), np.log(c.true_s)
    return np.asarray(high - low + 2 / 0.2 * (np.maximum(low - true, 0) + np.maximum(true - high, 0)))


def held(c: Cases, said: Array) -> npt.NDArray[np.bool_]:
    return np.asarray((said[0] <= c.true_s) & (c.true_s <= said[2]))


class Difference(NamedTuple):
    """Ours minus the baseline's, with the 95 % interval of whole days resampled."""

    value: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.value:+.4f} [{self.low:+.4f}, {self.high:+.4f}]"


def of_days(day: npt.NDArray[np.int64], ours: Array, theirs: Array, of_all: str, times: int = 2000) -> Difference:
    """Difference of the medians (of_all "median") or means of all cases; days resampled with all their cases."""
    rng = np.random.default_rng(0)
    count = rng.multinomial(DAYS, np.full(DAYS, 1 / DAYS), size=times)
    if of_all == "mean":
        sums = np.bincount(day, ours - theirs, DAYS)
        drawn = (count @ sums) / (count @ np.bincount(day, minlength=DAYS))
        value = float((ours - theirs).mean())
    else:
        medians = []
        for values in (ours, theirs):
            order = np.argsort(values)
            of_day, sorted_ = day[order], values[order]
            below = [np.cumsum(c[of_day]) for c in count]
            medians.append(np.array([sorted_[np.searchsorted(b, b[-1] / 2)] for b in below]))
        drawn = medians[0] - medians[1]
        value = float(np.median(ours) - np.median(theirs))
    return Difference(value, *np.percentile(drawn, [2.5, 97.5]))


def of_daily_medians(day: npt.NDArray[np.int64], ours: Array, theirs: Array, times: int = 4000) -> Difference:
    """Mean over the days of the difference of each day's medians."""
    each = np.array([np.median(ours[day == d]) - np.median(theirs[day == d]) for d in np.unique(day)])
    drawn = each[np.random.default_rng(0).integers(0, len(each), (times, len(each)))].mean(1)
    return Difference(float(each.mean()), *np.percentile(drawn, [2.5, 97.5]))


def _roughness() -> Array:
    """Sum of squared differences between neighbours in the three tables, as a matrix."""
    size = sum(a * b for a, b in BLOCKS)
    out, first = np.zeros((size, size)), 0
    for a, b in BLOCKS:
        eye = np.eye(a * b).reshape(a, b, a * b)
        for axis in (0, 1):
            steps = np.diff(eye, axis=axis).reshape(-1, a * b)
            out[first : first + a * b, first : first + a * b] += steps.T @ steps
        first += a * b
    return out


def _quantile(x: Array, y: Array, q: float, w: Array, smooth: Array) -> Array:
    """Least pinball loss by reweighted least squares."""
    between, size = _SMOOTH.get(q, _SMOOTH_ENDS)
    share, e, b = w / w.sum(), y, np.zeros(x.shape[1])
    for _ in range(15):
        v = share * np.where(e > 0, q, 1 - q) / np.maximum(np.abs(e), 3e-3)
        new = np.linalg.solve((x * v[:, None]).T @ x + between * smooth + size * np.eye(len(b)), x.T @ (v * y))
        moved_by, b = np.abs(new - b).max(), new
        e = y - x @ b
        if moved_by < 1e-4:
            break
    return np.asarray(b)
