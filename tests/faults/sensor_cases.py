"""Faults of the sensor itself: each is told under its own name, and does to the dose what its words say."""

from __future__ import annotations

import math

from faults.case import Case
from faults.harness import Run

from uvdose.dose.standing import FROZEN_RUN, WHITE_MIN

SPELL_S = 40.0


def _spell(change):  # type: ignore[no-untyped-def]
    return lambda run: run.spell(SPELL_S, change)


def freeze(run: Run) -> None:
    """Only once the sensor's own noise has been seen for a minute and more can it be missed."""
    run.nap((WHITE_MIN + 20) / run.pace)
    run.spell(SPELL_S, lambda s, held: held)


def held_missing(run: Run) -> None:
    """What fell while the value stood still counts as missing, from a few seconds after it froze."""
    name, node = next(iter(run.sources.items()))
    shown, acts = run.shown(name), run.bench.store().acts(run.ids[name])
    if not SPELL_S - FROZEN_RUN - 3 < shown["missing_s"] <= SPELL_S + 2:
        run.wrong(f"{SPELL_S} s were frozen, told {shown['missing_s']} s missing")
    if hasattr(node, "counted"):
        exact = node.counted(acts) / 1000 * 0.01
        run.result.dose = abs((shown["dose"] + shown["missing_dose"]) / exact - 1)
        if run.result.dose > 2e-3:
            run.wrong(f"dose and missing light are off by {run.result.dose:.1e}")


def as_said(run: Run) -> None:
    """Counted as the sensor says it, whatever fell."""
    name, source = next(iter(run.sources.items()))
    store = run.bench.store()
    begin, end = (run.source_s(store, source, a.t_us) for a in (store.acts(run.ids[name])[i] for i in (0, -1)))
    truth = source.light.dose(begin, end, said=True) / 10
    shown = run.shown(name)
    run.result.dose = abs(shown["dose"] / truth - 1)
    if run.result.dose > 1e-2:
        run.wrong(f"{truth:.3f} was said, {shown['dose']:.3f} counted")


def lower_bound(run: Run) -> None:
    as_said(run)
    shown = run.shown(next(iter(run.sources)))
    if not SPELL_S - 5 < shown["saturated_s"] < SPELL_S + 5 or shown["dose_high"] <= shown["dose"] * 1.05:
        run.wrong(f"saturated {shown['saturated_s']} s, up to {shown['dose_high']:.3f} of {shown['dose']:.3f}")


def unreadable(run: Run) -> None:
    name = next(iter(run.sources))
    sensor = run.bench.sensor(name)
    if not sensor["bad_inputs"]:
        run.wrong("no bad input was counted")
    shown = run.shown(name)
    if not 30 < shown["bridged_s"] + shown["missing_s"] < 50:
        run.wrong(f"told {shown['bridged_s']} s bridged, {shown['missing_s']} s missing")


FULL = 80.0
# A value that stands still is only strange in a sensor whose own noise outweighs what the light does in a second.
NOISY = {"noise_w_m2": 1.0}

CASES = [
    Case("sensor: frozen, register", ("pty",), freeze, "frozen", held_missing, dose=None,
         options=NOISY, lasts_s=14.0),
    Case("sensor: frozen, values", ("board",), freeze, "frozen", held_missing, momentary=0.3,
         options=NOISY, lasts_s=14.0),
    Case("sensor: saturated, values", ("board",), _spell(lambda s, held: FULL), "saturated", lower_bound,
         momentary=9.0, said=True, interval=False, options={"full_scale": FULL}),
    Case("sensor: saturated, register", ("pty",), _spell(lambda s, held: 500.0), "saturated", said=True,
         options={"full_scale": 2000}),
    Case("sensor: not a number", ("board",), _spell(lambda s, held: math.nan), "unreadable", unreadable, momentary=0.3),
    Case("sensor: negative", ("board",), _spell(lambda s, held: -6.0 - s % 1), "negative", as_said, momentary=9.0,
         said=True, interval=False),
    # The dose is as the sensor says it; what tells one that has died from the dark is that it was bright before.
    Case("sensor: dead, values", ("board",), _spell(lambda s, held: 0.0), "no-light", as_said, momentary=9.0,
         said=True, interval=False),
    Case("sensor: dead, register", ("pty",), _spell(lambda s, held: 0.0), "no-light", said=True),
]
