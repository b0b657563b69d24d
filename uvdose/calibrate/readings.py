"""What a person types about a print, turned into densities. None: a step that was not read.

Density is -log10 of the reflectance factor (ISO 5 series).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from ..model import Refusal

NOT_READ = {"-", "?", "\N{EN DASH}"}
PERCENT_ABOVE = 1.5
LEAST_DENSITY, MOST_DENSITY = -0.2, 5.0
_JOINED = re.compile(r"\d,\d")


def parse_number(text: str) -> float | None:
    """One number with a decimal point or comma; None for `-` or `?`. Raises `Refusal` for anything else."""
    text = text.strip()
    if text in NOT_READ:
        return None
    try:
        plain = text.count(",") + text.count(".") <= 1 and "_" not in text
        value = float(text.replace(",", ".")) if plain else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Refusal(f"{text!r} is not a number: type one such as 1.62, or - for a step that was not read", 2)
    return value


def parse_numbers(text: str) -> tuple[float | None, ...]:
    """The numbers of one line: spaces, commas or semicolons between them, decimal points or commas within.

    Raises `Refusal` where commas could be either.
    """
    text = text.strip()
    if not text:
        raise Refusal("no numbers: type one for each step, such as 1.62 1.60 1.43, or - for one that was not read", 2)
    if ";" in text:
        parts = text.removesuffix(";").split(";")
    elif "," not in text:
        parts = text.split()
    else:
        parts = _at_commas(text)
    return tuple(parse_number(part) for part in parts)


def _at_commas(text: str) -> list[str]:
    """The parts of a line with commas: they separate where points or spaces say so, else they are decimal commas."""
    words = re.sub(r"\s+,", ",", text).split()
    joined = any(_JOINED.search(word) for word in words)
    separating = any(word.endswith(",") for word in words)
    if not joined or ("." in text and len(words) == 1):
        return [part for word in words for part in word.removesuffix(",").split(",")]
    if len(words) > 1 and not separating and "." not in text and all(word.count(",") <= 1 for word in words):
        return words
    raise Refusal(
        f"{text[:60]!r} can be read in two ways: put semicolons between numbers (1,62; 1,60) or use points (1.62 1.60)",
        2,
    )


def to_densities(
    values: Sequence[float | None],
    kind: str,
    white: float | None = None,
    black: float | None = None,
    gamma: float = 1.0,
) -> tuple[float | None, ...]:
    """Densities of what was read.

    kind: "density"; "reflectance", 0 to 1, or per cent when any value is above 1.5; "grey", a value of a camera or
    scanner between `black` (0 where it is not given) and `white`, that of the bare paper or a white card in the same
    light. A grey value must be linear in light (a raw file), or its `gamma` given (about 2.2 for usual pictures):
    reflectance = ((grey - black) / (white - black))^gamma. Raises `Refusal` (code 2) for what cannot be meant.
    """
    percent = _is_percent(values)
    if kind == "grey":
        _check_grey(white, gamma, 0.0 if black is None else black)
    found: list[float | None] = []
    for step, value in enumerate(values, 1):
        if value is None:
            found.append(None)
            continue
        if not math.isfinite(value):
            raise Refusal(f"step {step}: {value} is not a number: read it again, or give - for a step not read", 2)
        if kind == "density":
            density = value
        elif kind == "reflectance":
            density = _of_reflectance(step, value / 100 if percent else value, "reflectance")
        elif kind == "grey":
            assert white is not None
            share = (value - (black or 0.0)) / (white - (black or 0.0))
            density = _of_reflectance(step, share**gamma if share > 0 else 0.0, "grey value above black")
        else:
            raise Refusal(f"readings of kind {kind!r}: give density, reflectance or grey", 2)
        if not LEAST_DENSITY <= density <= MOST_DENSITY:
            raise Refusal(f"step {step}: {value:g} is a density of {density:.2f}: read it again, or give its kind", 2)
        found.append(density)
    return tuple(found)


def how_understood(
    values: Sequence[float | None],
    kind: str,
    white: float | None = None,
    black: float | None = None,
    gamma: float = 1.0,
) -> str:
    """One line that tells the person how the readings were taken."""
    if kind == "reflectance":
        return (
            "reflectances taken as per cent, since some are above 1.5" if _is_percent(values)
            else "reflectances taken as shares from 0 to 1"
        )
    if kind == "grey":
        linear = "linear in light" if gamma == 1 else f"with gamma {gamma:g}"
        known = f"{black:g}" if black is not None else "0 (not given)"
        return f"grey values taken as {linear}, between black {known} and white {white or 0:g}"
    return "densities taken as they are"


def _is_percent(values: Sequence[float | None]) -> bool:
    return any(v is not None and v > PERCENT_ABOVE for v in values)


def _of_reflectance(step: int, share: float, what: str) -> float:
    if share <= 0:
        raise Refusal(f"step {step}: no {what}: a density needs one above 0; read it again, or give - for not read", 2)
    return -math.log10(share)


def _check_grey(white: float | None, gamma: float, black: float) -> None:
    if white is None:
        raise Refusal("grey values need white: give the grey value of the bare paper in the same picture", 2)
    if not (math.isfinite(white) and math.isfinite(black) and white > black):
        raise Refusal(f"white {white:g} must lie above black {black:g}: give the lighter one as white", 2)
    if not (math.isfinite(gamma) and 0.2 <= gamma <= 5):
        raise Refusal(f"gamma {gamma:g}: give 1 for values linear in light, about 2.2 for usual pictures", 2)
