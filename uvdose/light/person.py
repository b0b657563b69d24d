"""Plain cautions for the person beside the frame, by the height of the sun alone.

Reddening of skin goes by wavelengths that a UVA sensor does not see: from a high sun to air mass 3, UVA falls to a
fifth and the UV index to a fifteenth. So none is told. None of this says how long anyone may stay in the light: local
advice and the sense to cover up go before it.
"""

from __future__ import annotations

# Common practice, no source: the shadow rule. A shadow as long as the person is cast at 45 degrees.
_CAUTIONS = (
    (45.0, "Your shadow is shorter than you: skin burns fast. Cover skin and eyes, stay in the shade between looks."),
    (30.0, "The sun is strong enough to burn. Cover skin and eyes, and turn from the glass: it throws light back."),
    (15.0, "The sun still burns skin in the course of an afternoon. Cover up, and never look toward it."),
    (0.0, "The sun is low: little burns now, but do not look toward it, nor at its image in the glass."),
)


def caution(sun_elevation_deg: float) -> str | None:
    """A plain word of caution for the sun at this height above the horizon; None in the night. Clouds do not enter."""
    for least, words in _CAUTIONS:
        if sun_elevation_deg > least:
            return words
    return None


def beside_frame(sun_elevation_deg: float, lasting_s: float | None, when: str = "") -> str | None:
    """The same with the sun's height, when it stands so, and how long a print takes where that is known."""
    words = caution(sun_elevation_deg)
    if words is None:
        return None
    stay = f", and a print keeps you about {max(1, round(lasting_s / 60))} min beside the frame" if lasting_s else ""
    return f"The sun stands {max(1, round(sun_elevation_deg))}° high{when}{stay}. {words}"
