"""What is commonly known of each process, with where it is known from: scale, how to judge, dry-down, dose, cautions.

Kept in `processes.json`. Most of it is common practice without a source, and says so: it starts a person off, and the
person's own calibration print takes its place.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Literal

import msgspec

from ..model import Refusal

_COMMON = {"print", "prints", "paper", "layer", "one", "classic", "the", "a", "on"}


class Scale(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Usual exposure scale, log10 from..to; None where no figure is known."""

    low: float | None
    high: float | None
    source: str


class Judging(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """When a print of this process can be judged, and what to look at."""

    when: str
    look: str
    source: str


class DryDown(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How the print changes from wet to dry: words, and by how many stops it seems to darken, None where common
    practice has no figure."""

    text: str
    stops_low: float | None
    stops_high: float | None
    source: str


class DoseBand(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Doses between which a target for this process is not surprising, mJ/cm² of UVA. Never a target."""

    low_mj_cm2: float
    high_mj_cm2: float
    text: str
    source: str


class Caution(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What can do harm, and what to do about it."""

    text: str
    source: str


class Process(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One process. words: what it is also called. cautions: keys of the table's cautions.

    prints: whether light darkens the sheet (negative-working, as all but plant juice) or bleaches it.
    """

    name: str
    words: list[str]
    scale: Scale
    judge: Judging
    dry_down: DryDown
    dose: DoseBand | None
    cautions: list[str]
    prints: Literal["darkens", "bleaches"] = "darkens"


class Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """All of `processes.json`. standing: the line that stands over all of it."""

    standing: str
    cautions: dict[str, Caution]
    processes: list[Process]


@cache
def table() -> Table:
    """The table that comes with the package, read once."""
    raw = resources.files(__package__).joinpath("processes.json").read_bytes()
    return msgspec.json.decode(raw, type=Table)


def known() -> list[str]:
    """Names of all processes."""
    return [p.name for p in table().processes]


def process(words: str) -> Process:
    """The process that these words mean: its name, what it is also called, or words that only one of them has.

    Raises `Refusal` (code 2), which lists what is known.
    """
    asked = _plain(words)
    exact = [p for p in table().processes if asked in _names(p)]
    near = [p for p in table().processes if any(_within(asked, name) for name in _names(p))]
    for found in (exact, near):
        if len(found) == 1:
            return found[0]
    raise Refusal(f"process {words.strip()[:40]!r} is none of: {', '.join(known())}", 2)


def cautions(of: Process) -> list[Caution]:
    """The cautions of a process, in its order."""
    return [table().cautions[key] for key in of.cautions]


def dose_doubt(of: Process, dose_mj_cm2: float) -> str | None:
    """A line where a dose lies outside what is usual by more than a factor of two; None where nothing is known amiss.

    A sensor's own band moves the figure as well, so that this never refuses anything.
    """
    band = of.dose
    if band is None or band.low_mj_cm2 / 2 <= dose_mj_cm2 <= band.high_mj_cm2 * 2:
        return None
    usual = f"{of.name} usually takes {band.low_mj_cm2:g} to {band.high_mj_cm2:g} ({band.source})"
    return f"{dose_mj_cm2:.4g} mJ/cm² is far off: {usual}; check the sensor's scale and unit"


def _plain(words: str) -> str:
    return " ".join("".join(c if c.isalnum() else " " for c in words.casefold()).split())


def _names(p: Process) -> set[str]:
    return {_plain(name) for name in (p.name, *p.words)}


def _within(asked: str, name: str) -> bool:
    """Whether every word asked is one of the name's, or the name's words are all among those asked."""
    a, b = set(asked.split()) - _COMMON, set(name.split()) - _COMMON
    return bool(a) and bool(b) and (a <= b or b <= a)
