"""Writes sensors.md from the catalogue: `python firmware_notes/write_sensors.py`. A test holds the two together."""

from __future__ import annotations

from pathlib import Path

from uvdose.catalogue import AIR_MASSES, Part, catalogue

HEAD = """\
# Which sensor

This page is made from `uvdose/catalogue.json` by `write_sensors.py`. The figures are for choosing: check the data sheet
before you rely on one. No dose is counted with them: a calibration print ties each sensor to your prints, whatever its
scale. `part = "GUVA-S12SD"` on a `[[sensor]]` of the settings names a part; it changes no figure.

## What the sensor's band does to a print

The coats of contact printing take up near UV and some violet, through glass and film: about 320 to 410 nm. A sensor
that sees another band agrees with the print in the light in which it was calibrated, and drifts away from it as the
light changes: toward evening the short waves go first, so a sensor that sees them reads too little, and the print stays
in the light for too long. The table says by how many per cent it is over-exposed, calibrated at air mass 1.2 (the sun
about 56 degrees high), computed with a clear-sky model (SPECTRL2) for assumed responses; air mass 2 is a sun 30 degrees
high.
"""
CHOOSE = """
So choose:

1. A part that sees the **near UV alone**, about 365 nm, follows a print best: within two per cent on a horizontal bench
   down to a sun 12 degrees high. Take it if you print from morning to evening.
2. A **wide** photodiode is good enough about noon, and where you calibrate in the light in which you print. Over a long
   day it over-exposes, and in the shade, which holds more of the short waves, it under-exposes.
3. A part **weighted to UVB**, and any figure called a **UV index**, hardly follows a print: leave it. A UV index can
   only be added up as it stands (`unit = "counts"`, no scale), and is never taken for irradiance.
4. Lay sensor and frame **in one plane**. Ten degrees of tilt cost more than most parts differ.
5. Between **sun and lamp** no band helps: the factor runs from 0.2 to over 100. A target is good for one light source.
6. **Gain and integration time are part of the sensor**: fix them in the firmware and tell them in `who`. A change voids
   the targets. Take its zero capped, and never clamp readings at zero.
7. Converters of Wi-Fi boards are blind below about 0.1 V, and some cannot be read while the radio works (ADC2):
   an I2C converter beside the board (ADS1115) reads a photodiode's amplifier there.

## Cautions

Sun and UV lamps burn skin and eyes: cover both, and go by the lamp maker's sheet (IEC 62471) and your local rules. For
boards on batteries or mains go by their makers' sheets; mains wiring is a licensed electrician's work.
"""


def page() -> str:
    """The whole page."""
    bands = catalogue().bands
    lines = [HEAD, _row("band of the sensor", "frame", *(f"AM {m:g}" for m in AIR_MASSES)), _rule(2 + len(AIR_MASSES))]
    for key, band in bands.items():
        for how, drift in (("horizontal", band.horizontal), ("facing the sun", band.facing)):
            if drift is not None:
                lines.append(_row(f"{key}: {band.shape}", how, *(f"{d:+g}" for d in drift)))
    shade = ", ".join(f"{key} {band.shade:+g} %" for key, band in bands.items() if band.shade is not None)
    lines += ["", f"In the shade instead of the sun, at air mass 1.2: {shade}.", CHOOSE, "## Parts", ""]
    lines += [_row("part", "kind", "band, nm", "follows a print", "to irradiance", "noise, temperature, view")]
    lines += [_rule(6)]
    usable = [p for p in catalogue().parts if p.refused is None]
    lines += [_row(p.part, p.kind, _nm(p), bands[p.band].words, p.conversion, _rest(p)) for p in usable]
    lines += ["", "What to mind, and where it is from:", ""]
    lines += [f"- **{p.part}**: {'; '.join(p.pitfalls)}. Source: {p.source}." for p in usable]
    lines += ["", "Refused:", ""]
    lines += [f"- **{p.part}**: {p.refused}. Source: {p.source}." for p in catalogue().parts if p.refused is not None]
    return "\n".join(lines) + "\n"


def _nm(part: Part) -> str:
    if part.low_nm is None or part.high_nm is None:
        return "-"
    return f"{part.low_nm:g}-{part.high_nm:g}" + (f", peak {part.peak_nm:g}" if part.peak_nm is not None else "")


def _rest(part: Part) -> str:
    told = [
        part.noise or "",
        f"{part.temperature_pct_per_k:g} %/K" if part.temperature_pct_per_k is not None else "",
        f"{part.view_deg:g}° in all" if part.view_deg is not None else "",
    ]
    return "; ".join(t for t in told if t) or "see the data sheet"


def _row(*cells: str) -> str:
    return f"| {' | '.join(cells)} |"


def _rule(count: int) -> str:
    return "|" + "---|" * count


if __name__ == "__main__":
    Path(__file__).with_name("sensors.md").write_text(page(), encoding="utf-8")
