"""`uvdose sensor scale`: the scale of a sensor, by another one in the same light or by a light that is known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from ...model import Refusal
from ..options import HomeDir, Json, home_of
from ..questions import at_terminal, wait_for_enter, yes

if TYPE_CHECKING:
    from ...calibrate.common_light import Scale
    from ...config import SensorSettings
    from ...notes import ScaleTaken
    from .gather import Bench, Row

LEAST_S, MOST_S = 40.0, 3600.0
KNOWN_PERCENT = 10.0  # what a lamp's maker usually promises is not better; common practice, no source
LIT_SHARE = 0.02
BESIDE = "Lay both beside each other, level, under the same sky, with nothing near that shades or lights one of them."


def scale(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The sensor that gets a scale.")],
    against: Annotated[
        str | None, typer.Option(metavar="OTHER", help="A sensor beside it, whose scale is known.")
    ] = None,
    known: Annotated[
        float | None, typer.Option(metavar="MW_CM2", help="The light that falls on it, in mW/cm².")
    ] = None,
    known_u: Annotated[
        float | None, typer.Option(metavar="PERCENT", help="How well that is known, one standard uncertainty; else 10.")
    ] = None,
    seconds: Annotated[float, typer.Option(metavar="N", help="How long to measure.")] = 120.0,
    sure: Annotated[bool, typer.Option("--yes", help="Store it without asking.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Find the scale of a sensor, with its 95 % interval; stored only if you say so. Needs the daemon."""
    from ...notes import ScaleTaken
    from ...review.layout import wrap
    from ..show import print_json, say
    from .gather import need_bench
    from .storing import store

    percent = _asked(against, known, known_u, seconds)
    bench = need_bench(home_of(home))
    sensor = bench.sensor(name)
    other = bench.sensor(against) if against is not None else None
    _refuse_unfit(sensor, other)
    if at_terminal() and not as_json:
        for line in wrap(BESIDE if other is not None else "Lay it where the light is the one that is known."):
            print(line)
        wait_for_enter("done? press Enter")
    rows = _measured(bench, sensor, other, seconds)
    found = _found(bench, sensor, other, known, percent, rows)
    note = ScaleTaken(
        found.scale, found.low, found.high, found.u, sensor.unit, found.seconds, found.means, found.apart, against,
        known, None if known is None else percent / 100, sensor.scale,
    )
    if not as_json:
        for text in _lines(sensor, note):
            say("\n".join(wrap(text, "", "  ")))
    if not (sure or (not as_json and yes("store it"))):
        if as_json:
            print_json(note)
        else:
            say("nothing was changed; --yes stores it")
        return
    store(bench, name, {"scale": float(f"{found.scale:.6g}")}, note, as_json)


def _asked(against: str | None, known: float | None, known_u: float | None, seconds: float) -> float:
    """The known light's uncertainty in per cent. Raises `Refusal` (code 2) for what cannot be meant."""
    if (against is None) == (known is None):
        raise Refusal("say what it is held against: --against SENSOR, or --known MW_CM2", 2)
    if known_u is not None and known is None:
        raise Refusal("--known-u goes with --known", 2)
    if known is not None and not (math.isfinite(known) and 0 < known <= 1000):
        raise Refusal(f"--known {known:g}: give the light in mW/cm², above 0 and up to 1000", 2)
    percent = KNOWN_PERCENT if known_u is None else known_u
    if not 0 < percent <= 50:
        raise Refusal(f"--known-u {percent:g}: give per cent, above 0 and up to 50", 2)
    if not LEAST_S <= seconds <= MOST_S:
        raise Refusal(f"--seconds {seconds:g}: give {LEAST_S:g} to {MOST_S:g}", 2)
    return percent


def _refuse_unfit(sensor: SensorSettings, other: SensorSettings | None) -> None:
    from ...dose.response import response_of
    from ...units import IRRADIANCE_UNITS, PHYSICAL_DOSE

    if sensor.unit in IRRADIANCE_UNITS:
        raise Refusal(f"sensor {sensor.name} says {sensor.unit} itself, and takes no scale")
    if other is None:
        return
    if other.name == sensor.name:
        raise Refusal(f"{sensor.name} cannot be held against itself", 2)
    if response_of(other).unit != PHYSICAL_DOSE:
        raise Refusal(f"sensor {other.name} has no scale itself: hold {sensor.name} against one that has")


def _measured(
    bench: Bench, sensor: SensorSettings, other: SensorSettings | None, seconds: float
) -> dict[str, list[Row]]:
    from ...dose.stretch import sight
    from .gather import gather_shown

    both = [s for s in (sensor, other) if s is not None]
    for s in both:
        bench.now(s.name)
    rows = gather_shown(bench, both, seconds)
    for s in both:
        seen = sight(rows[s.name], s.full_scale)
        if seen is not None and seen.saturated > 0:
            raise Refusal(f"sensor {s.name} was at full scale, so that its light is not known: measure in weaker light")
    return rows


def _found(
    bench: Bench, sensor: SensorSettings, other: SensorSettings | None, known: float | None, percent: float,
    rows: dict[str, list[Row]],
) -> Scale:
    from ...calibrate.common_light import of_known, ratio, together
    from ...dose.response import response_of
    from ...units import PHYSICAL_IRRADIANCE, to_screen
    from .zero import span_of

    mine = rows[sensor.name]
    x, y, mean_s = together(mine, rows[other.name] if other is not None else mine)
    x = x - sensor.zero
    light = float(x.mean()) if len(x) else 0.0
    if len(x) and light < LIT_SHARE * (span_of(bench, sensor) or 0.0):
        raise Refusal(f"there is too little light on {sensor.name}: measure in the light that you print by")
    others = {"zero": sensor.zero_u / light, "repeat": sensor.repeat_u} if light > 0 else {}
    if other is None:
        assert known is not None
        return of_known(x, known, mean_s, others | {"known": percent / 100})
    factor = to_screen(response_of(other).factor, PHYSICAL_IRRADIANCE)
    y = factor * (y - other.zero)
    others |= {"other's repeat": other.repeat_u, "other's scale": _scale_u(bench, other)}
    if len(y) and float(y.mean()) > 0:
        others["other's zero"] = factor * other.zero_u / float(y.mean())
    return ratio(x, y, mean_s, others)


def _scale_u(bench: Bench, other: SensorSettings) -> float:
    """How well the other's own scale is known, where it was found this way; else its word is taken."""
    from ...notes import ScaleTaken
    from ..asking import journal

    with journal(bench.place) as store:
        note = store.notes(ScaleTaken).get(other.name)
    same = note is not None and other.scale is not None and math.isclose(note.scale, other.scale, rel_tol=1e-4)
    return note.u if note is not None and same else 0.0


def _lines(sensor: SensorSettings, note: ScaleTaken) -> list[str]:
    from ...review.layout import unit_text

    unit = "count" if sensor.unit == "counts" else unit_text(sensor.unit)
    by = f"against {note.against}" if note.against is not None else f"by a light of {note.known:g} mW/cm²"
    lines = [
        f"{sensor.name}: scale {note.scale:.4g} mW/cm² per {unit} ({note.low:.4g}-{note.high:.4g}), {by}",
        f"  {note.means} means in {note.seconds:.0f} s; {100 * note.apart:.1f} % of the light is left when the ratio is"
        " taken off",
    ]  # fmt: skip
    if note.known_u is not None:
        lines.append(f"  the light is taken as known to {100 * note.known_u:g} %, one standard uncertainty")
    if note.old_scale is not None:
        times = note.scale / note.old_scale
        lines.append(f"  was {note.old_scale:.4g}: the same light now reads {times:.3f} times that")
    else:
        lines.append("  it had none: its doses are in mJ/cm² from now on, and no longer in unit-seconds")
    return lines


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("scale")(scale)
