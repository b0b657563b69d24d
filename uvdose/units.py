"""Units of dose and irradiance. Inside: W/m² and J/m². On screens: mW/cm² and mJ/cm².

A sensor that was never tied to physical units counts in its own unit: its dose is in unit-seconds, such as
`counts.s`, and is never mixed with physical dose. 1 mW/cm² = 10 W/m² and 1 mJ/cm² = 10 J/m² exactly (SI).
"""

from __future__ import annotations

import math

from .model import Refusal

W_M2_PER_MW_CM2 = J_M2_PER_MJ_CM2 = 10.0
STOP_LOG10 = math.log10(2.0)
US_PER_S = 1_000_000

PHYSICAL_DOSE = "mJ/cm2"
PHYSICAL_IRRADIANCE = "mW/cm2"
LEAST_DOSE = 1e-6
ABSURD_DOSE_MJ_CM2 = 1e9
ABSURD_UNIT_SECONDS = 1e18

# W/m² per unit, for the units that are irradiance already.
IRRADIANCE_UNITS: dict[str, float] = {"W/m2": 1.0, "mW/cm2": 10.0, "uW/cm2": 0.01}


_SPELT = str.maketrans({"²": "2", "\u00b5": "u", "\u03bc": "u", "·": ".", "\u22c5": ".", "^": None, " ": None})


def plain_unit(text: str) -> str:
    """A unit as a person may write it (mW/cm², µW/cm², counts·s) in the one spelling that is kept: mW/cm2, counts.s."""
    return text.translate(_SPELT)


def dose_unit(sensor_unit: str, scaled: bool) -> str:
    """The unit that a sensor's dose is shown in: mJ/cm2, or such as `counts.s` without a scale."""
    return PHYSICAL_DOSE if scaled or sensor_unit in IRRADIANCE_UNITS else f"{sensor_unit}.s"


def irradiance_unit(unit_of_dose: str) -> str:
    """The unit of irradiance that belongs to a unit of dose."""
    return PHYSICAL_IRRADIANCE if unit_of_dose == PHYSICAL_DOSE else unit_of_dose.removesuffix(".s")


def to_screen(base: float, unit: str) -> float:
    """A dose or an irradiance from SI to the unit of the screen (unit-seconds stay as they are)."""
    return base / J_M2_PER_MJ_CM2 if unit in (PHYSICAL_DOSE, PHYSICAL_IRRADIANCE) else base


def from_screen(shown: float, unit: str) -> float:
    """The inverse of `to_screen`."""
    return shown * J_M2_PER_MJ_CM2 if unit in (PHYSICAL_DOSE, PHYSICAL_IRRADIANCE) else shown


def stops_between(dose: float, reference: float) -> float | None:
    """How many stops (factors of two) `dose` lies above `reference`; None where either is not above zero."""
    if dose <= 0 or reference <= 0:
        return None
    return math.log2(dose / reference)


def percent(fraction: float) -> str:
    """A share in whole per cent, rounded down so that 100 % is never shown before it is there."""
    return f"{int(fraction * 100 + 1e-9)} %"


def minutes(seconds: float | None) -> str:
    """A stretch of time as m:ss, from an hour on as h:mm:ss; `-` for None."""
    if seconds is None:
        return "-"
    whole = max(0, round(seconds))
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


_STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600)


def rounded_span(low_s: float | None, high_s: float | None) -> tuple[float | None, float | None]:
    """A range of time in steps that are at most a third of its width, outwards; no finer than it is known.

    Without an end the step is a third of what the other is.
    """
    ends = [s for s in (low_s, high_s) if s is not None]
    if not ends:
        return None, None
    width = ends[-1] - ends[0] if len(ends) == 2 else ends[0]
    step = max((s for s in _STEPS_S if s <= width / 3), default=_STEPS_S[0])
    low = None if low_s is None else float(math.floor(low_s / step) * step)
    return low, None if high_s is None else float(math.ceil(high_s / step) * step)


def span_words(low_s: float, high_s: float) -> str:
    """A rounded range for screens: `6-11 min`, else `8:54-9:06` as `minutes` writes times."""
    if low_s % 60 == high_s % 60 == 0 and high_s < 7200:
        return f"{low_s / 60:.0f}-{high_s / 60:.0f} min"
    return f"{minutes(low_s)}-{minutes(high_s)}"


def check_dose(value: float, unit: str = PHYSICAL_DOSE) -> float:
    """A dose that a person typed, in the unit of the screen.

    Raises `Refusal` (code 2) for zero, a negative, NaN, infinite or absurd value (below 10^-6, above 10^9 mJ/cm²).
    """
    most = ABSURD_DOSE_MJ_CM2 if unit == PHYSICAL_DOSE else ABSURD_UNIT_SECONDS
    if not math.isfinite(value) or not LEAST_DOSE <= value <= most:
        raise Refusal(f"dose {value:g} {unit}: give a number above 0 and up to {most:g}, such as 2565", 2)
    return value
