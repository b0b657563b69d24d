"""`uvdose sensor watch`: what a sensor says now, how quiet it is and how near to its full scale."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...model import Refusal
from ..options import HomeDir, Json, home_of

if TYPE_CHECKING:
    from ...config import SensorSettings
    from ...dose.stretch import Sight
    from ...messages import SensorDoc
    from .gather import Bench, Row

PLAIN_S = 10.0  # where no terminal shows it live
MOST_S = 86_400.0
SPAN_S = 60.0  # what it says is told of the last minute
SPAN_LIMIT = 5_000
EVERY_S = 1.0
QUIET, NOISY = 0.02, 0.2  # noise as a share of the light; from NOISY on the daemon raises an alarm
QUIET_OF_FULL = 0.002
NEAR_FULL = 0.9


def watch(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="The sensor; else each of them.")] = None,
    seconds: Annotated[
        float | None, typer.Option(metavar="N", help="End after so many seconds; else 10 where the output is no"
                                   " terminal, and with Ctrl-C at one.")
    ] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Value, pace, noise and headroom of a sensor, live, and in one plain line at the end. Needs the daemon."""
    from ...clock import pause, real_s
    from ..show import print_json_line, say
    from .gather import SETTLE_S, Line, need_bench

    if seconds is not None and not 0 < seconds <= MOST_S:
        raise Refusal(f"--seconds {seconds:g}: give a number above 0 and up to {MOST_S:g}", 2)
    bench = need_bench(home_of(home))
    sensors = [bench.sensor(name)] if name is not None else bench.settings.sensor
    live = sys.stdout.isatty() and not as_json
    lasts = seconds if seconds is not None else None if live else PLAIN_S
    rows: dict[str, list[Row]] = {s.name: [] for s in sensors}
    line, end_s = Line(), None if lasts is None else real_s() + SETTLE_S + lasts
    pause(SETTLE_S)
    begin_us = {s.name: bench.newest_us(s.name) for s in sensors}
    try:
        while end_s is None or real_s() < end_s:
            pause(EVERY_S if end_s is None else max(0.05, min(EVERY_S, end_s - real_s())))
            for sensor in sensors:
                fresh = bench.readings(sensor.name, begin_us[sensor.name])
                rows[sensor.name] = _newest(rows[sensor.name] + fresh)
                begin_us[sensor.name] = fresh[-1][0] if fresh else begin_us[sensor.name]
            told = [_told(bench, sensor, rows[sensor.name]) for sensor in sensors]
            if as_json:
                print_json_line({"sensors": told})
            elif live:
                line.show("   ".join(_short(t) for t in told)[: _width()])
            else:
                for t in told:
                    say(_short(t))
    except KeyboardInterrupt:
        pass
    line.clear()
    if as_json:
        return  # the last line holds it all
    for sensor in sensors:
        say("\n".join(_whole(_told(bench, sensor, rows[sensor.name]))))


def _width() -> int:
    from ...review.layout import screen_width

    return screen_width() - 1


def _newest(rows: list[Row]) -> list[Row]:
    from ...units import US_PER_S

    since_us = rows[-1][0] - int(SPAN_S * US_PER_S) if rows else 0
    return [row for row in rows[-SPAN_LIMIT:] if row[0] >= since_us]


def _told(bench: Bench, sensor: SensorSettings, rows: list[Row]) -> dict[str, Any]:
    """A sensor as a document: what the daemon knows of it, what the last minute of its readings shows, a verdict."""
    from ...dose.integrator import reading_value
    from ...dose.response import response_of
    from ...dose.stretch import sight
    from ...units import irradiance_unit, to_screen

    now = bench.now(sensor.name)
    seen = sight(rows, sensor.full_scale)
    response = response_of(sensor)
    unit = irradiance_unit(response.unit)
    factor = to_screen(response.factor, unit)
    last = reading_value(rows[-1][1]) if rows else None
    full = sensor.full_scale
    return {
        "name": sensor.name, "state": now.state, "unit": sensor.unit, "value": last, "irradiance_unit": unit,
        "irradiance": None if last is None else factor * (last - sensor.zero),
        "readings": len(rows), "seconds": seen.seconds if seen else 0.0, "rate_hz": seen.rate_hz if seen else None,
        "noise": seen.noise if seen else None, "own_change": seen.own if seen else None,
        "saturated_share": seen.saturated if seen else None,
        "of_full_scale": None if seen is None else of_full_scale(seen.highest, sensor),
        "full_scale": full, "zero": sensor.zero, "alarms": now.alarms, "verdict": verdict(now, seen, sensor),
    }


def verdict(now: SensorDoc, seen: Sight | None, sensor: SensorSettings) -> str:
    """Alive or not, how fast, how quiet, how near to full scale: in one plain line."""
    from ...units import percent

    if seen is None:
        why = now.alarms[0] if now.alarms else "no reading has come while it was watched"
        return f"{now.state if now.state != 'live' else 'silent'}: {why}"
    parts = ["alive" if now.state in ("live", "saturated") else now.state, pace(seen.rate_hz), _quiet(seen, sensor)]
    line = ", ".join(parts)
    if seen.saturated > 0:
        line += f"; at full scale {_share(seen.saturated)} of the time: its dose is then a lower bound"
    elif (of_full := of_full_scale(seen.highest, sensor)) is not None:
        line += f"; at {percent(of_full)} of full scale"
        if of_full > NEAR_FULL:
            line += ", which leaves no room for stronger sun"
    return line


def of_full_scale(value: float, sensor: SensorSettings) -> float | None:
    """A value's light as a share of the strongest that the sensor can tell; 0 in the dark. None: that is not known."""
    if sensor.full_scale is None:
        return None
    return max(0.0, (value - sensor.zero) / (sensor.full_scale - sensor.zero))


def pace(rate_hz: float) -> str:
    """How fast readings come."""
    if rate_hz >= 0.5:
        return f"{rate_hz:.3g} a second"
    return f"one each {1 / rate_hz:.3g} s" if rate_hz > 0 else "no pace"


def _quiet(seen: Sight, sensor: SensorSettings) -> str:
    level = seen.mean - sensor.zero
    small = sensor.full_scale is not None and seen.noise <= QUIET_OF_FULL * sensor.full_scale
    share = seen.noise / level if level > 0 else 0.0
    if small or share <= QUIET:
        return "quiet"
    return f"{'a little noisy' if share < NOISY else 'noisy'} ({_share(share)} of the light)"


def _share(share: float) -> str:
    from ...units import percent

    return percent(share) if share >= 0.01 else "less than 1 %"


def _short(told: dict[str, Any]) -> str:
    from ...review.layout import unit_text, with_unit
    from ...units import percent

    if told["value"] is None:
        return f"{told['name']}  {told['state']}"
    line = f"{told['name']}  {told['value']:.5g} {unit_text(told['unit'])}"
    if told["irradiance_unit"] != told["unit"]:
        line += f"  {with_unit(told['irradiance'], told['irradiance_unit'])}"
    if told["rate_hz"]:
        line += f"  {pace(told['rate_hz'])}  noise {told['noise']:.2g}"
    return line + (f"  {percent(told['of_full_scale'])} of full scale" if told["of_full_scale"] is not None else "")


def _whole(told: dict[str, Any]) -> list[str]:
    from ...review.layout import unit_text, wrap

    lines = wrap(f"{told['name']}: {told['verdict']}")
    if told["value"] is not None and told["noise"] is not None:
        unit = unit_text(told["unit"])
        lines += wrap(f"noise {told['noise']:.3g} {unit}, the light's own change {told['own_change']:.3g} {unit}, over"
                      f" {told['seconds']:.0f} s", "  ")  # fmt: skip
    return lines


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("watch")(watch)
