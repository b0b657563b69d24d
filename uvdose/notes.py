"""What the person says that is no act: calibration prints, films measured, verdicts, prints, editions, who is next.

The journal only ever appends them; the newest of a kind and subject holds, the older ones are its history. Doses are
in `unit` (mJ/cm2, or such as counts.s); densities are log10 and have no unit.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

import msgspec

from .listed import QueueEntry
from .model import Refusal

MAX_TEXT = 500
MAX_STEPS = 200
MOST_WHOLE = 2**53 - 1  # beyond it JSON's readers do not agree (RFC 8259, section 6)


class Doc(msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """The base of all notes."""


class Seen(Doc, frozen=True):
    """What the dry sheet showed, as the person said it.

    how: picks (full, tone: numbers of the last steps that print full tone and any tone), right (the step that is
    right), or density, reflectance, grey (a value for each step, None where it was not read; white and black are the
    grey values of the references, gamma the camera's). base: density of the bare paper after the whole process.
    """

    how: Literal["picks", "right", "density", "reflectance", "grey"]
    full: int | None = None
    tone: int | None = None
    right: int | None = None
    values: tuple[float | None, ...] = ()
    white: float | None = None
    black: float | None = None
    gamma: float = 1.0
    base: float | None = None
    full_below: float = 0.05


class StripPlan(Doc, frozen=True, tag="strip"):
    """A test strip: the dose of each step, rising; way: cover or uncover, how the card moves."""

    doses: tuple[float, ...]
    way: Literal["cover", "uncover"] = "cover"


class TabletPlan(Doc, frozen=True, tag="tablet"):
    """A step tablet under one dose. densities: of its steps, the thinnest first; name: what it is called."""

    dose: float
    densities: tuple[float, ...]
    name: str


class FilmDensity(Doc, frozen=True):
    """The density of a film in the sensor's band, 95 %."""

    low: float
    best: float
    high: float


class Calibration(Doc, frozen=True):
    """A calibration print, from its plan to its target.

    film_base: density of the clear film that lay between light and sheet in later prints and not in this one; None
    when the calibration print was made through it. Its exposures name it as what they are a part of. accepted: the
    target that came of it, as `blue v3`.
    """

    plan: StripPlan | TabletPlan
    unit: str
    sensor: str | None = None
    noted: dict[str, str] = {}
    film_base: FilmDensity | None = None
    through_film: bool = True
    seen: Seen | None = None
    accepted: str | None = None
    dropped: bool = False


class Verdict(Doc, frozen=True):
    """What the dry print showed. stops: how much too dark (above 0) or too light (below) its clear-film tone is."""

    tone: Literal["light", "right", "dark"] | None = None
    stops: float | None = None
    density: float | None = None
    highlights: Literal["blocked", "right", "blank"] | None = None
    text: str = ""


class Picture(Doc, frozen=True):
    """A picture of a print, beside the journal: its name there follows from the print and from this, never from text.

    sha256: of its bytes, in hexadecimal digits. kind: as the name ends, by what the bytes begin with.
    """

    sha256: Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{64}\Z")]
    kind: Literal["jpg", "png", "webp", "heic"]
    bytes: int

    def name(self, number: int) -> str:
        """Its file's name in the folder of pictures, for the print of this number."""
        return f"{number}-{self.sha256}.{self.kind}"


class PrintNote(Doc, frozen=True):
    """What is worth knowing of a print besides its dose and its verdict; its subject is the print's number.

    density: as read anywhere on the sheet; the one that judges the dose is the verdict's. humidity_percent: relative,
    of paper or room. drying_delay_s: from coating to drying. coated_utc or coating_age_s, never both: when it was
    coated, or how old the coat was at the print's start.
    """

    density: str = ""
    wash: str = ""
    toning: str = ""
    dilution: str = ""
    text: str = ""
    humidity_percent: Annotated[float, msgspec.Meta(ge=0, le=100)] | None = None
    drying_delay_s: Annotated[float, msgspec.Meta(ge=0)] | None = None
    coating_age_s: Annotated[float, msgspec.Meta(ge=0)] | None = None
    coated_utc: str | None = None
    picture: Picture | None = None


class Film(Doc, frozen=True):
    """A film or a negative measured by the sensor: clear base, the densest highlight, the thinnest shadow."""

    base: FilmDensity | None = None
    highlight: FilmDensity | None = None
    shadow: FilmDensity | None = None
    text: str = ""


class Layer(Doc, frozen=True):
    """One exposure of a sheet: its target at one version, and what the layer is called."""

    target: str
    version: int
    name: str = ""


class Edition(Doc, frozen=True):
    """Prints that shall be alike: each sheet gets each layer. limit_stops: how far from the target a print may lie."""

    prints: int
    layers: tuple[Layer, ...]
    limit_stops: float = 0.17
    text: str = ""


class Queue(Doc, frozen=True):
    """Who is next at the bench, the first one first. Its subject is always `bench`."""

    entries: tuple[QueueEntry, ...] = ()


class ZeroTaken(Doc, frozen=True):
    """The dark reading of a sensor, its subject, in its unit: how it was read, and what it was before.

    sd: of one reading; u: standard uncertainty of the mean, which `zero_u` keeps; drift: over the reading. forced: the
    person wanted it though it did not look dark.
    """

    zero: float
    u: float
    sd: float
    n: int
    seconds: float
    drift: float
    unit: str
    old_zero: float
    old_u: float
    forced: bool = False


class CheckStep(Doc, frozen=True):
    """One step of a check and how it went; ok None: not done."""

    step: str
    ok: bool | None
    line: str


class Check(Doc, frozen=True):
    """The morning's look at a sensor, its subject."""

    steps: tuple[CheckStep, ...]


class ScaleTaken(Doc, frozen=True):
    """A scale of a sensor, its subject: mW/cm² per unit, 95 %, and u, its relative standard uncertainty.

    against: the sensor beside it, whose word is taken; else known, in mW/cm², with its relative standard uncertainty.
    """

    scale: float
    low: float
    high: float
    u: float
    unit: str
    seconds: float
    means: int
    apart: float
    against: str | None = None
    known: float | None = None
    known_u: float | None = None
    old_scale: float | None = None


class Levelled(Doc, frozen=True):
    """A sensor, its subject, turned by half a turn: how far it leans toward the sun in degrees, 95 %, and what that
    makes it read too much, as a share. sky: by what share the light itself changed meanwhile; steady: little enough."""

    degrees: float
    low: float
    high: float
    over: float
    sky: float
    steady: bool
    air_mass: float
    seconds: float


class Bed(Doc, frozen=True):
    """How even a lamp's light lies, walked by a sensor, the note's subject: each place's light over the mean of all,
    row by row. stops: between the strongest and the weakest place; drift: of the lamp meanwhile, a share, taken out."""

    relative: tuple[tuple[float | None, ...], ...]
    min_over_mean: float
    max_over_mean: float
    stops: float
    drift: float


KINDS: dict[str, type[Doc]] = {
    "calibration": Calibration, "verdict": Verdict, "print": PrintNote, "film": Film, "edition": Edition,
    "queue": Queue, "zero": ZeroTaken, "check": Check, "scale": ScaleTaken, "level": Levelled, "bed": Bed,
}


def kind_name(kind: type[Doc]) -> str:
    """What a kind is called in journal and API."""
    return next(name for name, known in KINDS.items() if known is kind)


def checked(kind: str, data: dict[str, Any]) -> Doc:
    """A note of a kind out of plain data. Raises `Refusal` (code 2) for what is no such note."""
    if kind not in KINDS:
        raise Refusal(f"no note of kind {kind!r}: one of {', '.join(KINDS)}", 2)
    try:
        note = msgspec.convert(data, KINDS[kind])
    except msgspec.ValidationError as err:
        raise Refusal(f"{kind}: {err}", 2) from None
    _bound(kind, msgspec.to_builtins(note))
    return note


def _bound(kind: str, value: object) -> None:
    """No text without end, no number that JSON or a person could not carry."""
    if isinstance(value, str) and (len(value) > MAX_TEXT or not value.isprintable()):
        raise Refusal(f"{kind}: give at most {MAX_TEXT} printable characters", 2)
    if isinstance(value, int) and abs(value) > MOST_WHOLE:
        raise Refusal(f"{kind}: a whole number of {len(str(abs(value)))} digits; give at most {MOST_WHOLE}", 2)
    if isinstance(value, float) and not math.isfinite(value):
        raise Refusal(f"{kind}: {value} is no number to keep; give a finite one", 2)
    if isinstance(value, list | tuple) and len(value) > MAX_STEPS:
        raise Refusal(f"{kind}: at most {MAX_STEPS} values", 2)
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ()
    for item in inside:
        _bound(kind, item)
