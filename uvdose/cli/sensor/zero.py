"""`uvdose sensor zero`: what a sensor says in the dark, read, stored, and told what it means."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ...model import Refusal
from ..options import HomeDir, Json, home_of
from ..questions import at_terminal, wait_for_enter

if TYPE_CHECKING:
    from ...config import SensorSettings
    from ...dose.stretch import Dark
    from ...notes import ZeroTaken
    from .gather import Bench

LEAST_S, MOST_S = 3.0, 600.0
HOW = "Cap the sensor so that no light reaches it at all: a lid, or black tape. Cloth and fingers let some through."


def zero(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The sensor.")],
    seconds: Annotated[float, typer.Option(metavar="N", help="How long to read.")] = 20.0,
    force: Annotated[bool, typer.Option("--force", help="Store it though it does not look dark.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Read the capped sensor's zero, and keep it in the settings. Needs the daemon, which takes it at once."""
    from ...notes import ZeroTaken
    from ..show import say
    from .gather import need_bench
    from .storing import store

    if not LEAST_S <= seconds <= MOST_S:
        raise Refusal(f"--seconds {seconds:g}: give {LEAST_S:g} to {MOST_S:g}", 2)
    bench = need_bench(home_of(home))
    sensor = bench.sensor(name)
    bench.now(name)
    bench.refuse_lit(name, "the cap")
    if at_terminal() and not as_json:
        print(HOW)
        wait_for_enter("capped? press Enter")
    found, why = read_dark(bench, sensor, seconds)
    if why is not None and not force:
        raise Refusal(f"sensor {name} is not dark: {why}; cap it and read again, or --force if you are sure")
    note = ZeroTaken(found.mean, found.u, found.sd, found.n, found.seconds, found.drift, sensor.unit, sensor.zero,
                     sensor.zero_u, why is not None)  # fmt: skip
    if not as_json:
        say("\n".join(_lines(sensor, note)))
    store(bench, name, {"zero": float(f"{found.mean:.9g}"), "zero_u": float(f"{found.u:.3g}")}, note, as_json)


def read_dark(bench: Bench, sensor: SensorSettings, seconds: float) -> tuple[Dark, str | None]:
    """A capped sensor's zero, and why it is none. Raises `Refusal`."""
    from ...dose.stretch import dark, steady_noise, why_not_dark
    from ...notes import ZeroTaken
    from ..asking import journal
    from .gather import gather_shown

    rows = gather_shown(bench, [sensor], seconds)[sensor.name]
    found = dark(rows, 1.0 if sensor.unit == "counts" else 0.0)  # a converter that stands still says whole counts
    if found is None:
        raise Refusal(f"only {len(rows)} readings of {sensor.name} came in {seconds:g} s: read longer with --seconds")
    with journal(bench.place) as store:
        taken_before = sensor.name in store.notes(ZeroTaken)
    span = span_of(bench, sensor)
    first = not taken_before and sensor.zero == 0
    return found, why_not_dark(found, sensor.zero, span, first, steady_noise(rows))


def span_of(bench: Bench, sensor: SensorSettings) -> float | None:
    """Full scale above the zero; where it is not known, the strongest light of the last hour."""
    from ...dose.integrator import reading_value
    from .gather import HOUR_US

    if sensor.full_scale is not None:
        return sensor.full_scale - sensor.zero
    rows = bench.readings(sensor.name, bench.newest_us(sensor.name) - HOUR_US)
    span = max((reading_value(reading) for _, reading in rows), default=sensor.zero) - sensor.zero
    return span if span > 0 else None


def per_minute(sensor: SensorSettings, moved: float) -> str:
    """What so much zero makes in a print, in words."""
    from ...dose.response import response_of
    from ...review.layout import with_unit
    from ...units import to_screen

    response = response_of(sensor)
    return f"{with_unit(abs(to_screen(response.factor * moved * 60, response.unit)), response.unit)} a minute"


def _lines(sensor: SensorSettings, note: ZeroTaken) -> list[str]:
    from ...review.layout import unit_text, wrap

    unit = unit_text(sensor.unit)
    moved = note.zero - note.old_zero
    lines = [
        f"{sensor.name}: zero {note.zero:.5g} ± {note.u:.2g} {unit} (standard uncertainty)",
        *wrap(f"{note.n} readings in {note.seconds:.0f} s, standard deviation {note.sd:.3g}, drift {note.drift:+.2g}"
              " over the reading", "  "),
        f"  was {note.old_zero:.5g} ± {note.old_u:.2g} {unit}",
    ]  # fmt: skip
    if moved:
        much = "much" if moved > 0 else "little"
        lines += wrap(f"with the old zero a print was counted {per_minute(sensor, moved)} too {much}", "  ")
    lines += wrap(f"what is left unsure makes {per_minute(sensor, note.u)}, one standard uncertainty", "  ")
    return lines


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("zero")(zero)
