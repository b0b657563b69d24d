"""`uvdose lamp flicker`: what the ripple of a lamp on the mains may cost a dose, by how often the sensor samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .lit import under_lamp
from .options import HomeDir, Json, finite, home_of

if TYPE_CHECKING:
    from ..light.flicker import Cost

NODE_HZ = 100.0  # the wire format asks a node for so many samples a second, or more
NODE_U = 0.005  # what a ceramic resonator strays (data sheets)
LEAST_ROWS = 12
WORTH = 0.01  # of a dose, a tenth of what sheets of one coat differ by
LAMP_DEPTH = 0.3
Name = Annotated[str | None, typer.Argument(metavar="[NAME]", help="The sensor; needed where there are several.")]


def flicker(
    name: Name = None,
    mains: Annotated[float | None, typer.Option(metavar="HZ", help="50 or 60; else both are told.")] = None,
    seconds: Annotated[float, typer.Option(metavar="N", help="How long to read.")] = 20.0,
    lasting: Annotated[float, typer.Option(metavar="SECONDS", help="How long a print lies there.")] = 120.0,
    rate: Annotated[
        float | None, typer.Option(metavar="HZ", help="How often the sensor samples the light; else as its readings"
                                                      " come, and 100 for a node that adds up by itself.")
    ] = None,
    over: Annotated[
        float, typer.Option("--over", metavar="MS", help="Each sample is the mean over so many ms, by the part's sheet;"
                                                         " 0: of a moment.")
    ] = 0.0,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """What flicker with the mains may cost a dose here, and whether the readings can tell. Needs the daemon."""
    from ..dose.integrator import reading_value
    from ..light.flicker import RIPPLES_HZ, cost
    from ..units import US_PER_S
    from .sensor.gather import gather_shown, need_bench
    from .show import print_json, say

    if mains is not None and mains not in (50, 60):
        raise Refusal(f"--mains {mains:g}: give 50 or 60, whichever your sockets have", 2)
    finite(seconds, "--seconds", 4.99, 120.0, "20")
    finite(lasting, "--lasting", 0.99, 86_400.0, "120")
    if rate is not None:
        finite(rate, "--rate", 0.0, 1e6, "100")
    if over != 0:
        finite(over, "--over", 0.0, 10_000.0, "100")
    bench = need_bench(home_of(home))
    sensor = under_lamp(bench.sensor(name))
    bench.now(sensor.name)
    rows = gather_shown(bench, [sensor], seconds)[sensor.name]
    light = [reading_value(reading) - sensor.zero for _, reading in rows]
    if len(rows) < LEAST_ROWS or not math.fsum(light) > 0:
        raise Refusal(f"sensor {sensor.name}: {len(rows)} readings in {seconds:g} s, or no light: at least {LEAST_ROWS}"
                      " in the light of the lamp are wanted; read longer with --seconds")  # fmt: skip
    times = [t / US_PER_S for t, _ in rows]
    read_hz = _read_hz(sensor.name, times)
    node = sensor.format == "native"
    sample_hz = rate or (NODE_HZ if node else read_hz)
    sample_u = NODE_U if node or rate is not None else _rate_u(times)
    strays, read_s = _strays(light), times[-1] - times[0]
    ripples = RIPPLES_HZ if mains is None else (2 * mains,)
    # A node's lines are sums over many samples: the ripple of one sample is not to be seen in them.
    found = [cost(r, sample_hz, sample_u, over / 1000, strays, 0.0 if node else read_s, lasting) for r in ripples]
    if as_json:
        print_json({"sensor": sensor.name, "readings": len(rows), "read_hz": read_hz, "sample_hz": sample_hz,
                    "strays": strays, "lasting_s": lasting, "ripples": found})  # fmt: skip
        return
    how = "adds up by itself, with" if node else "is read"
    known = " (as the wire format asks; --rate, if its firmware does otherwise)" if node and rate is None else ""
    lines = [f"{sensor.name} {how} {sample_hz:.4g} samples a second{known}; its {len(rows)} readings stray by"
             f" {100 * strays:.2g} % about their mean"]  # fmt: skip
    lines += [_line(one, lasting, over) for one in found]
    say("\n".join(_wrapped(lines)))


def _wrapped(lines: Sequence[str]) -> list[str]:
    from ..review.layout import wrap

    return [part for line in lines for part in wrap(line)]


def _line(one: Cost, lasting: float, over: float) -> str:
    from ..review.layout import figure
    from ..units import minutes

    ripple = f"on mains of {one.ripple_hz / 2:.0f} Hz the lamp's ripple comes {one.ripple_hz:.0f} times a second"
    print_of = f"a print of {minutes(lasting)}"
    if one.shown:
        return (
            f"{ripple}, and would show as a beat of {figure(one.slowest_hz)} to {figure(one.fastest_hz)} a second: what"
            f" the readings stray, noise and all, may cost {print_of} {_percent(one.error)} at most"
        )
    off, deep = one.error * LAMP_DEPTH, f"were it {100 * LAMP_DEPTH:.0f} % deep"
    if off < WORTH:
        return f"{ripple}; over {print_of} it cancels out: {_percent(off)} at most, {deep}"
    left = "what is left after that mean" if over else "it"
    return (
        f"{ripple}; {left} may cost {print_of} up to {_percent(off)}, {deep} (an electronic ballast has less, an old"
        " one more), and the sampling cannot show it: it may stand still, in step with the mains. A sensor that takes"
        " each value over 100 ms (--over) does not see it, and with one at another rate it cancels out (--rate)"
    )


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %" if share >= 0.0005 else "less than 0.1 %"


def _read_hz(name: str, times: Sequence[float]) -> float:
    """How often readings come. Raises `Refusal` for some that came all at once, as a message that holds many."""
    if times[-1] <= times[0]:
        raise Refusal(f"sensor {name}: its {len(times)} readings came at one moment, so nobody can say how often it"
                      " reads the light; read longer with --seconds")  # fmt: skip
    return (len(times) - 1) / (times[-1] - times[0])


def _rate_u(times: Sequence[float]) -> float:
    """How well the mean rate is known, relative: the scatter of intervals over the whole, and the clock's 500 ppm."""
    steps = [b - a for a, b in pairwise(times)]
    mean = math.fsum(steps) / len(steps)
    scatter = math.sqrt(math.fsum((s - mean) ** 2 for s in steps) / len(steps))
    return math.hypot(scatter / (times[-1] - times[0]), 5e-4)


def _strays(light: Sequence[float]) -> float:
    """Standard deviation about a straight line, relative to the mean."""
    n, mean = len(light), math.fsum(light) / len(light)
    at = [k - (n - 1) / 2 for k in range(n)]
    slope = math.fsum(a * v for a, v in zip(at, light, strict=True)) / math.fsum(a * a for a in at)
    left = math.fsum((v - mean - slope * a) ** 2 for a, v in zip(at, light, strict=True))
    return math.sqrt(left / (n - 2)) / abs(mean)


def register(group: typer.Typer) -> None:
    """Add the command to `uvdose lamp`."""
    group.command("flicker")(flicker)
