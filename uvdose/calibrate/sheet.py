"""A calibration print as a whole: what was planned, what its steps really got and what they showed, to a target."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from ..model import Refusal
from ..notes import Calibration, FilmDensity, Seen, StripPlan
from .estimate import Estimate
from .picks import read_picks, read_right_step, target_dose
from .readings import how_understood, to_densities
from .tablet import Tablet
from .wedge import read_wedge


class StepShown(msgspec.Struct, frozen=True):
    """One step. dose: that reached the sheet, in the note's unit; density: None where it was not read; left_out: why
    it was not used, empty where it was."""

    number: int
    dose: float
    density: float | None = None
    left_out: str = ""


class Finding(msgspec.Struct, frozen=True):
    """What a calibration print comes to; doses in the note's unit, of the bare sensor.

    target: the dose for later prints, through their clear film. safe: what common practice takes from picked steps,
    None where steps were measured. exposure_scale: the density range that a negative should have; range_r: R of ISO
    6846; contrast: average gradient. how: s-curve, monotone, picks or right. curve: log10 doses and densities of the
    fitted curve; full_log, threshold_log: where full tone and tone begin on the sheet.
    """

    target: Estimate
    safe: float | None
    exposure_scale: Estimate | None
    range_r: Estimate | None
    contrast: Estimate | None
    how: str
    steps: tuple[StepShown, ...]
    full_log: Estimate
    threshold_log: Estimate | None
    curve_x: tuple[float, ...]
    curve_y: tuple[float, ...]
    d_max: float | None
    noise: float | None
    notes: tuple[str, ...]


def step_doses(note: Calibration, given: float | Sequence[float]) -> tuple[float, ...]:
    """The dose that reached the sheet under each step: a strip's own doses, or a tablet's from the one that it got.

    Raises `Refusal` where the doses are not as many as the steps, and where a tablet got none.
    """
    if isinstance(note.plan, StripPlan):
        doses = (given,) if isinstance(given, float) else tuple(given)
        if len(doses) != len(note.plan.doses):
            raise Refusal(f"{len(doses)} doses for {len(note.plan.doses)} steps", 2)
        return doses
    if not isinstance(given, float) or not given > 0:
        raise Refusal("the tablet got no light: nothing can be read from it")
    return tuple(10**x for x in Tablet(note.plan.densities, note.plan.name).log_doses(math.log10(given)))


def evaluate(note: Calibration, given: float | Sequence[float], dose_u: float) -> Finding:
    """What the sheet showed, as a target. given: see `step_doses`; dose_u: its relative standard uncertainty, common
    to all steps. Raises `Refusal` with what to do next where the sheet cannot tell.
    """
    if note.seen is None:
        raise Refusal("nothing was read from this sheet yet")
    doses = step_doses(note, given)
    if min(doses) <= 0:
        raise Refusal(f"step {doses.index(min(doses)) + 1} got no light: make the print again")
    x = [math.log10(dose) for dose in doses]
    film = _estimate(note.film_base)
    seen = note.seen
    if seen.how == "picks":
        return _picked(seen, doses, x, dose_u, film)
    if seen.how == "right":
        right = read_right_step(*_apart(x, _index(seen.right, len(x))), dose_u)
        return Finding(
            target_dose(right, film), None, None, None, None, "right", _plain(doses), right, None, (), (), None, None,
            (),
        )
    return _measured(seen, doses, x, dose_u, film)


def _picked(seen: Seen, doses: Sequence[float], x: list[float], dose_u: float, film: Estimate | None) -> Finding:
    apart, full = _apart(x, _index(seen.full, len(x)))
    tone = None if seen.tone is None else _apart(x, _index(seen.tone, len(x)))[1]
    found = read_picks(apart, full, tone, dose_u=dose_u)
    safe = target_dose(Estimate.exactly(found.safe), film).best
    return Finding(
        target_dose(found.full, film), safe, found.exposure_scale, None, None, "picks", _plain(doses), found.full,
        found.threshold, (), (), None, None, found.notes,
    )


def _measured(seen: Seen, doses: Sequence[float], x: list[float], dose_u: float, film: Estimate | None) -> Finding:
    if len(seen.values) != len(x):
        raise Refusal(f"{len(seen.values)} values for {len(x)} steps: give one for each, - for a step not read", 2)
    read = (seen.white, seen.black, seen.gamma)
    densities = to_densities(seen.values, seen.how, *read)
    base = None if seen.base is None else to_densities([seen.base], seen.how, *read)[0]
    found = read_wedge(x, densities, full_below=seen.full_below, dose_u=dose_u, base=base)
    out = dict(found.left_out)
    steps = tuple(
        StepShown(i + 1, dose, density, out.get(i, ""))
        for i, (dose, density) in enumerate(zip(doses, densities, strict=True))
    )
    understood = () if seen.how == "density" else (how_understood(seen.values, seen.how, *read),)
    return Finding(
        target_dose(found.full, film), None, found.exposure_scale, found.range_r, found.contrast, found.how, steps,
        found.full, found.threshold, found.curve_x, found.curve_y, found.d_max, found.noise, understood + found.notes,
    )


def _apart(x: list[float], index: int) -> tuple[list[float], int]:
    """The doses that differ, and where a step's own is among them: a card never moved gives two steps the same."""
    apart = [at for i, at in enumerate(x) if at not in x[:i]]
    return apart, apart.index(x[index])


def _plain(doses: Sequence[float]) -> tuple[StepShown, ...]:
    return tuple(StepShown(i, dose) for i, dose in enumerate(doses, 1))


def _index(number: int | None, count: int) -> int:
    if number is None or not 1 <= number <= count:
        raise Refusal(f"step {number}: give one from 1 to {count}", 2)
    return number - 1


def _estimate(film: FilmDensity | None) -> Estimate | None:
    return None if film is None else Estimate(film.low, film.best, film.high)
