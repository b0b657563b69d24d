"""The catalogue of UV sensors: what a part sees, what that does to a print, and which parts are refused.

The figures lie in `catalogue.json`, each part with its source. They are for a person's choice and for hints alone: no
dose is ever counted with them, since boards differ by more than parts do.
"""

from __future__ import annotations

import difflib
import functools
import importlib.resources
import re

import msgspec

from .model import Refusal

AIR_MASSES = (1, 1.5, 2, 3, 4, 5)
"""Where the drifts of a band are told: how much air the sun shines through, 1 being a sun overhead."""


class Band(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A spectral response, and by how many per cent a print calibrated at air mass 1.2 is over-exposed with it.

    horizontal, facing: how sensor and frame lie, for each of `AIR_MASSES`; shade: in the shade, at air mass 1.2.
    Computed with SPECTRL2 (Bird & Riordan 1986) for assumed responses (`shape`) and an emulsion flat to 390 nm, half at
    405 nm. None: not computed.
    """

    words: str
    shape: str
    horizontal: tuple[float, ...] | None
    facing: tuple[float, ...] | None
    shade: float | None


class Scale(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """mW/cm² per unit, from low to high; given: what it holds for."""

    unit: str
    low: float
    high: float
    given: str


class Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One part. kind: photodiode or digital; band: a key of `Catalogue.bands`. None: not known, see the data sheet.

    view_deg: full width of its field of view. refused: why it is; None where it may be used.
    """

    part: str
    kind: str
    band: str
    low_nm: float | None
    high_nm: float | None
    peak_nm: float | None
    conversion: str
    scale: Scale | None
    noise: str | None
    temperature_pct_per_k: float | None
    view_deg: float | None
    pitfalls: tuple[str, ...]
    refused: str | None
    source: str


class Catalogue(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """All parts."""

    bands: dict[str, Band]
    parts: tuple[Part, ...]


@functools.cache
def catalogue() -> Catalogue:
    """The catalogue as it comes with the package."""
    data = importlib.resources.files(__package__).joinpath("catalogue.json").read_bytes()
    return msgspec.json.decode(data, type=Catalogue)


def part_named(name: str) -> Part:
    """The part of this name; capitals and dashes do not count. Raises `Refusal` for one that is unknown, or refused."""
    parts = {_key(p.part): p for p in catalogue().parts}
    found = parts.get(_key(name))
    if found is None:
        near = difflib.get_close_matches(_key(name), parts, n=3, cutoff=0.5)
        usable = [parts[key].part for key in near] or [p.part for p in catalogue().parts if p.refused is None]
        known = "near it are" if near else "known are"
        raise Refusal(f"{name!r} is no part of the catalogue; {known} {', '.join(usable)}; or leave it out")
    if found.refused is not None:
        raise Refusal(f"{found.part} is refused: {found.refused}; take another sensor")
    return found


def part_in(text: str) -> Part | None:
    """The part that a text names, such as a topic or a column; refused ones too. None where it names none."""
    key = _key(text)
    hits = [p for p in catalogue().parts if _key(p.part) in key or _key(p.part).removesuffix("UV") in key]
    return max(hits, key=lambda p: len(p.part), default=None)


def _key(name: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", name.upper())
