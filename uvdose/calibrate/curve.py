"""The S-curve of a printing process, density against log10 dose, and its fit to many rows of readings at once.

Own code, because no library fits a batch of rows robustly in one go, which is what makes intervals by replicates cheap.
Points: ISO 6846:1992 (HT at base + 0.04, HS at 0.90 of the net density), R after JIS K 7612-1986.
"""

from __future__ import annotations

import math

import msgspec
import numpy as np

from .estimate import FloatArray

LN10 = math.log(10)
THRESHOLD_NET = 0.04
SHOULDER_SHARE = 0.90
FULL_BELOW = 0.05
FLOOR = 0.005
"""Least scale of the residuals, in density: readings do not repeat better, and a scale of zero would refuse all."""
HUBER, TUKEY = 1.345, 4.685
"""Tuning constants for 95 % efficiency on normal noise (Huber 1981; Beaton & Tukey 1974)."""
LOPSIDED_U = 0.7
"""How lopsided a free curve may be, before it is seen: standard deviation of ln skew."""


class SCurve(msgspec.Struct, frozen=True):
    """D = d_min + d_net / (1 + 10^(-k (x - x0)))^skew, x in log10 dose; skew 1 is the even S."""

    d_min: float
    d_net: float
    k: float
    x0: float
    skew: float = 1.0

    @property
    def d_max(self) -> float:
        return self.d_min + self.d_net

    def density(self, x: float | FloatArray) -> FloatArray:
        """Density at one or many log10 doses."""
        params = np.array([[self.d_min, self.d_net, self.k, self.x0, self.skew]])
        return np.asarray(model(params, np.atleast_1d(x))[0], dtype=np.float64)


class Fits(msgspec.Struct, frozen=True):
    """A batch of fitted curves. params: rows of d_min, d_net, k, x0, skew. weights: what each reading counted, 0..1.

    scale: robust standard deviation of the residuals of each row. rss: plain sum of squared residuals.
    """

    params: FloatArray
    weights: FloatArray
    scale: FloatArray
    rss: FloatArray

    def curve(self, row: int = 0) -> SCurve:
        return SCurve(*(float(v) for v in self.params[row]))


def points_many(
    params: FloatArray, full_below: float = FULL_BELOW, last_x: float | None = None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """HT, HS and full of each row; NaN where a row does not reach the point.

    last_x: the log10 dose at which the print was deepest, for one that reverses beyond; None where it only nears d_max.
    """
    d_net = params[:, 1]
    deepest = 1.0 if last_x is None else (model(params, np.array([last_x]))[:, 0] - params[:, 0]) / d_net
    with np.errstate(invalid="ignore", divide="ignore"):
        return (
            _x_at_share(params, THRESHOLD_NET / d_net),
            _x_at_share(params, np.full(len(params), SHOULDER_SHARE)),
            _x_at_share(params, deepest - full_below / d_net),
        )


def fit_many(
    x: FloatArray,
    y: FloatArray,
    fixed_d_min: float | None = None,
    *,
    robust: bool = True,
    skewed: bool = False,
    start: FloatArray | None = None,
    lean: FloatArray | None = None,
    noise: float | None = None,
    tol: float = 1e-8,
    most: int = 200,
) -> Fits:
    """Fit an S-curve to each row of y at once, by Levenberg-Marquardt steps; NaN in y means not read.

    x: log10 doses, rising, shared by all rows. robust: Huber's weights first, then Tukey's, so that a misread step
    loses its say; False is plain least squares. skewed: let the curve be lopsided, with ln skew expected within
    LOPSIDED_U of `lean` (a row each; 0 by default). noise: what a reading strays by, against which a plain fit weighs
    that expectation. start: rows of parameters to begin from. tol: the largest step, relative to each parameter, at
    which a row is done.
    """
    x = np.asarray(x, dtype=np.float64)
    y = np.atleast_2d(np.asarray(y, dtype=np.float64))
    rows = len(y)
    read = np.isfinite(y)
    filled = np.where(read, y, 0.0)
    given = _start(x, y, fixed_d_min) if start is None else np.broadcast_to(start, (rows, 5)).copy()
    internal = np.column_stack((given[:, :2], np.log(given[:, 2]), given[:, 3], np.log(given[:, 4])))
    free = [i for i in range(5) if not (i == 0 and fixed_d_min is not None) and not (i == 4 and not skewed)]
    target = np.zeros(rows) if lean is None else lean
    plain = (filled, read, free, target, x, FLOOR if noise is None else noise)
    if robust:
        _descend(internal, plain, "huber", 1e-3, min(most, 30))
        _descend(internal, plain, "tukey", tol, most)
    else:
        _descend(internal, plain, "plain", tol, most)
    params = np.column_stack((internal[:, :2], np.exp(internal[:, 2]), internal[:, 3], np.exp(internal[:, 4])))
    residuals = np.where(read, filled - model(params, x), 0.0)
    scale = _scale(residuals, read, len(free))
    weights = _weigh(residuals / scale[:, None], "tukey" if robust else "plain")[0] * read
    return Fits(params, weights, scale, np.sum(residuals**2, axis=1))


def model(params: FloatArray, x: FloatArray) -> FloatArray:
    """Densities at x of each row of d_min, d_net, k, x0, skew."""
    u = 10 ** np.clip(-params[:, 2:3] * (x - params[:, 3:4]), -30, 30)
    return np.asarray(params[:, 0:1] + params[:, 1:2] * (1 + u) ** -params[:, 4:5])


def _x_at_share(params: FloatArray, share: float | FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(params[:, 3] - np.log10(np.power(share, -1 / params[:, 4]) - 1) / params[:, 2])


def _scale(residuals: FloatArray, read: FloatArray, fitted: int) -> FloatArray:
    """Standard deviation from the median absolute residual, the `fitted` least of which are zero by the fit itself."""
    sizes = np.sort(np.where(read, np.abs(residuals), np.inf), axis=1)
    count = read.sum(axis=1)
    at = np.clip((count + fitted - 1) // 2, 0, np.maximum(count - 1, 0))
    middle = np.take_along_axis(sizes, at[:, None], axis=1)[:, 0]
    return np.maximum(np.where(np.isfinite(middle), middle, 0.0) / 0.6745, FLOOR)


def _weigh(z: FloatArray, kind: str) -> tuple[FloatArray, FloatArray]:
    """Weights and losses of residuals in units of their scale."""
    if kind == "plain":
        return np.ones_like(z), z * z / 2
    size = np.abs(z)
    if kind == "huber":
        near = size <= HUBER
        return np.where(near, 1.0, HUBER / np.maximum(size, HUBER)), np.where(
            near, z * z / 2, HUBER * (size - HUBER / 2)
        )
    inside = np.maximum(1 - (z / TUKEY) ** 2, 0.0)
    return inside**2, TUKEY**2 / 6 * (1 - inside**3)


Plain = tuple[FloatArray, FloatArray, list[int], FloatArray, FloatArray, float]


def _descend(internal: FloatArray, plain: Plain, kind: str, tol: float, most: int) -> None:
    """Levenberg-Marquardt with the weights of `kind`, in place. Rows that are done rest.

    The scale follows the fit with Huber's weights; with Tukey's it stays what it was at the beginning, so that the
    loss is one function and every step taken lowers it.
    """
    filled, read, free, lean, x, noise = plain
    live = np.arange(len(internal))
    damping = np.full(len(internal), 1e-3)
    scale = _scale(_residuals(internal, filled, read, x), read, len(free))
    if kind == "plain":
        scale = np.full(len(internal), noise)
    for _ in range(most):
        p, d, ok, s = internal[live], filled[live], read[live], scale[live]
        r = _residuals(p, d, ok, x)
        if kind == "huber":
            s = scale[live] = _scale(r, ok, len(free))
        weights, losses = _weigh(r / s[:, None], kind)
        loss = _total(losses * ok, p, free, lean[live])
        jac = _jacobian(p, x)[:, :, free] * ok[:, :, None]
        weighted = jac * (weights / s[:, None] ** 2)[:, :, None]
        normal = np.swapaxes(weighted, 1, 2) @ jac
        slope = np.einsum("mnf,mn->mf", weighted, r)
        if 4 in free:
            normal[:, -1, -1] += 1 / LOPSIDED_U**2
            slope[:, -1] += (lean[live] - p[:, 4]) / LOPSIDED_U**2
        at = np.arange(len(free))
        normal[:, at, at] += damping[live][:, None] * normal[:, at, at] + 1e-12
        step = np.linalg.solve(normal, slope[:, :, None])[:, :, 0]
        trial = p.copy()
        trial[:, free] += np.clip(step, -2, 2) if kind != "plain" else step
        trial[:, 2] = np.clip(trial[:, 2], -12, 5)
        trial[:, 4] = np.clip(trial[:, 4], -4, 4)
        after = _total(_weigh(_residuals(trial, d, ok, x) / s[:, None], kind)[1] * ok, trial, free, lean[live])
        better = after <= loss
        internal[live[better]] = trial[better]
        damping[live] = np.where(better, np.maximum(damping[live] / 10, 1e-12), damping[live] * 10)
        small = np.all(np.abs(step) <= tol * (np.abs(p[:, free]) + tol), axis=1)
        live = live[~((small & better) | (damping[live] > 1e12))]
        if len(live) == 0:
            return


def _residuals(internal: FloatArray, filled: FloatArray, read: FloatArray, x: FloatArray) -> FloatArray:
    u = 10 ** np.clip(-np.exp(internal[:, 2:3]) * (x - internal[:, 3:4]), -30, 30)
    return np.asarray((filled - internal[:, 0:1] - internal[:, 1:2] * (1 + u) ** -np.exp(internal[:, 4:5])) * read)


def _total(losses: FloatArray, internal: FloatArray, free: list[int], lean: FloatArray) -> FloatArray:
    sums = losses.sum(axis=1)
    return np.asarray(sums + (internal[:, 4] - lean) ** 2 / (2 * LOPSIDED_U**2) if 4 in free else sums)


def _jacobian(internal: FloatArray, x: FloatArray) -> FloatArray:
    """Slopes of the model in d_min, d_net, ln k, x0, ln skew."""
    k, skew = np.exp(internal[:, 2:3]), np.exp(internal[:, 4:5])
    away = x - internal[:, 3:4]
    u = 10 ** np.clip(-k * away, -30, 30)
    f = (1 + u) ** -skew
    edge = internal[:, 1:2] * skew * f * u / (1 + u) * LN10 * k
    return np.stack(
        (np.ones_like(f), f, edge * away, -edge, -internal[:, 1:2] * skew * np.log1p(u) * f), axis=2
    )


def _start(x: FloatArray, y: FloatArray, fixed_d_min: float | None) -> FloatArray:
    """Where to begin: the best of a grid of steepness and middle, with base and net density by least squares.

    Running medians of three stand in for the readings, so that one misread step does not choose the start.
    """
    read = np.isfinite(y)
    padded = np.concatenate((y[:, :1], y, y[:, -1:]), axis=1)
    with np.errstate(all="ignore"):
        smooth = np.median(np.stack((padded[:, :-2], padded[:, 1:-1], padded[:, 2:])), axis=0)
    smooth = np.where(read & np.isfinite(smooth), smooth, np.where(read, y, 0.0))
    span = float(x[-1] - x[0])
    middles = np.repeat(np.linspace(x[0] - 0.1 * span, x[-1] + 0.1 * span, 25), 12)
    steeps = np.tile(np.geomspace(0.7 / span, 60 / span, 12), 25)
    shapes = model(np.column_stack((0 * steeps, 0 * steeps + 1, steeps, middles, 0 * steeps + 1)), x)
    ones = read.astype(np.float64)
    n, sy, syy = ones.sum(axis=1)[:, None], smooth.sum(axis=1)[:, None], (smooth**2).sum(axis=1)[:, None]
    sf, sff, sfy = ones @ shapes.T, ones @ (shapes**2).T, smooth @ shapes.T
    with np.errstate(all="ignore"):
        if fixed_d_min is None:
            net = (n * sfy - sf * sy) / (n * sff - sf**2)
            base = (sy - net * sf) / n
        else:
            base = np.full_like(sfy, fixed_d_min)
            net = (sfy - base * sf) / sff
        miss = syy + n * base**2 + net**2 * sff - 2 * base * sy - 2 * net * sfy + 2 * base * net * sf
    best = np.argmin(np.where((net > 0) & np.isfinite(miss), miss, np.inf), axis=1)
    row = np.arange(len(y))
    net_best = np.maximum(np.nan_to_num(net[row, best], nan=1.0), 1e-3)
    return np.column_stack(
        (np.nan_to_num(base[row, best]), net_best, steeps[best], middles[best], np.ones(len(y)))
    )
