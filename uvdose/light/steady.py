"""Since when a lamp has been steady, from what its sensor said since it was switched on."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np

from .lamps import WarmUp, warm_up

ON_SHARE = 0.05  # of its light now: below this the lamp was off
EVERY_S = 10.0


class Warmed(msgspec.Struct, frozen=True):
    """on_s: how long it has been on, None where it was on before the readings begin. since_s: for how long it has been
    steady, None where it is not. now: what the newest window says."""

    on_s: float | None
    since_s: float | None
    now: WarmUp


def since_when(
    at_s: Sequence[float], irradiance: Sequence[float], *, window_s: float = 120.0, within: float = 0.02
) -> Warmed:
    """Looks back from the newest reading, in steps of ten seconds, for as long as each window was steady.

    Times rise; the zero is taken off. Steady as `warm_up` has it, since the end of the first such window. Raises
    `ValueError` for what is no light.
    """
    times, light = np.asarray(at_s, dtype=np.float64), np.asarray(irradiance, dtype=np.float64)
    if len(times) == 0 or not light[-1] > 0:
        raise ValueError("there is no light now: switch the lamp on")
    dark = np.flatnonzero(light < ON_SHARE * light[-1])
    begin = int(dark[-1]) + 1 if len(dark) else 0
    times, light = times[begin:], light[begin:]
    now = warm_up(times.tolist(), light.tolist(), window_s=window_s, within=within)
    on_s = float(times[-1] - times[0]) if len(dark) else None
    if not now.steady:
        return Warmed(on_s, None, now)
    since = end = float(times[-1])
    while end > times[0]:
        kept = (times <= end) & (times >= end - window_s)
        if not kept.any() or not warm_up(times[kept].tolist(), light[kept].tolist(), window_s=window_s,
                                         within=within).steady:  # fmt: skip
            break
        since = end
        end -= EVERY_S
    return Warmed(on_s, float(times[-1]) - since, now)
