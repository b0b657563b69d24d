"""Step tablets: a film of steps, each as dense as it says, printed together to see what many doses do at once."""

from __future__ import annotations

import csv

import msgspec

from ..model import Refusal
from .readings import parse_number

LEAST_STEPS, MOST_STEPS = 3, 200
EXAMPLE = "such as 1,0.05"


class Tablet(msgspec.Struct, frozen=True):
    """densities: of step 1 (the thinnest), 2, ... to the light of the lamp or sun. name: what to call it."""

    densities: tuple[float, ...]
    name: str

    def log_doses(self, log_dose: float) -> tuple[float, ...]:
        """Log10 of the dose under each step, when the tablet got `log_dose`."""
        return tuple(log_dose - density for density in self.densities)


def even(count: int = 21, step: float = 0.15, first: float = 0.05) -> Tablet:
    """A tablet of even steps; 21 of 0.15 from 0.05 to 3.05 unless told (US Navy manual NAVEDTRA 14209, p. 10-40).

    Raises `Refusal` (code 2).
    """
    if not LEAST_STEPS <= count <= MOST_STEPS:
        raise Refusal(f"a tablet of {count} steps: give a count from {LEAST_STEPS} to {MOST_STEPS}", 2)
    if not 0.01 <= step <= 1:
        raise Refusal(f"steps of {step:g}: give the density from one step to the next, 0.01 to 1, such as 0.15", 2)
    if not 0 <= first <= 2:
        raise Refusal(f"first step {first:g}: give the density of the thinnest step, 0 to 2, such as 0.05", 2)
    return Tablet(tuple(round(first + step * i, 6) for i in range(count)), f"{count} steps of {step:.2f}")


def from_csv(text: str, name: str = "own tablet") -> Tablet:
    """A tablet from a file with the columns `step` and `density`, in any order; lines with # are passed over.

    Either commas between the columns and decimal points, or semicolons, with decimal commas if wanted. Steps count
    1, 2, 3 ... from the thinnest. Raises `Refusal` (code 2) with the line and what to do.
    """
    lines = [
        (number, line) for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise Refusal("an empty tablet file: give the columns step,density and a line for each step", 2)
    mark = ";" if ";" in lines[0][1] else ","
    rows = [(number, [cell.strip() for cell in cells]) for (number, _), cells in zip(
        lines, csv.reader((line for _, line in lines), delimiter=mark), strict=True
    )]
    at_step, at_density = _columns(*rows[0])
    densities: list[float] = []
    for number, cells in rows[1:]:
        if len(cells) != len(rows[0][1]):
            raise Refusal(
                f"line {number}: {len(cells)} values in {len(rows[0][1])} columns: give one of each, {EXAMPLE}, or "
                "put semicolons between columns if the commas are decimal",
                2,
            )
        _check_step(number, cells[at_step], len(densities) + 1)
        densities.append(_density(number, cells[at_density], densities))
    if not LEAST_STEPS <= len(densities) <= MOST_STEPS:
        raise Refusal(f"{len(densities)} steps in the tablet file: give {LEAST_STEPS} to {MOST_STEPS} of them", 2)
    return Tablet(tuple(densities), name)


def _columns(number: int, header: list[str]) -> tuple[int, int]:
    names = [cell.lower() for cell in header]
    for wanted in ("step", "density"):
        if names.count(wanted) != 1:
            raise Refusal(f"line {number}: one column must be named {wanted}: begin the file with step,density", 2)
    return names.index("step"), names.index("density")


def _check_step(number: int, text: str, due: int) -> None:
    step = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else None
    if step is None:
        raise Refusal(f"line {number}: step {text!r} is not a whole number: give {due} here", 2)
    if step < due:
        raise Refusal(f"line {number}: step {step} comes twice or late: list each step once, in order", 2)
    if step > due:
        raise Refusal(f"line {number}: step {step} where {due} is due: list every step in order, from 1", 2)


def _density(number: int, text: str, before: list[float]) -> float:
    try:
        value = parse_number(text)
    except Refusal:
        value = None
    if value is None:
        raise Refusal(f"line {number}: density {text!r} is not a number: measure the step, or ask its maker", 2)
    if not 0 <= value <= 6:
        raise Refusal(f"line {number}: density {value:g}: give one from 0 to 6, such as 0.05", 2)
    if before and value <= before[-1]:
        raise Refusal(
            f"line {number}: density {value:g} after {before[-1]:g}: densities must rise, step 1 being the thinnest", 2
        )
    return value
