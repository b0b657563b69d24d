"""Where a print seems to lie: how often a month of measured open sky is taken for shade, and shade is told.

Light: UVA of BSRN Payerne, June 2016, one-minute means. Shade and glass are simulated: of each minute the share that
the model's clear sky scatters, and 80 % (window glass passes 75 to 85 % of UVA: common practice, no source).
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from uvdose.light.lies import COVERED, MOST_SCATTERED, ClearLight, Lies, guess
from uvdose.light.path import clear_course
from uvdose.light.skies import gather
from uvdose.light.uv import UVA_NM
from uvdose.whereabouts import seems_words

from .test_outlook import DAY_S, JUNE_S, PAYERNE, measured

EVERY_MIN = 4
LOOK_BACK = 20


def _starts(of: slice = slice(None)) -> list[tuple[float, list[float], ClearLight]]:
    """Every few minutes under a sun above 20 degrees: Unix seconds, the last minutes, the clear light as past days tell
    it (the first week by the whole month: it has no past)."""
    whole = gather(PAYERNE, measured(1, 30), UVA_NM, absolute=False)[0]
    found = []
    for day in range(1, 31)[of]:
        begin = JUNE_S + (day - 1) * DAY_S
        level = gather(PAYERNE, measured(1, day - 1), UVA_NM, absolute=False)[0] if day > 8 else whole
        assert level is not None
        clear = clear_course(PAYERNE, begin + 3600.0, UVA_NM, level.factor)
        light = measured(day, day).light
        for minute in range(60, 1440, EVERY_MIN):
            if PAYERNE.sun(np.array([begin + 60.0 * minute])).elevation_deg[0] > 20:
                found.append((begin + 60.0 * minute, light[minute - LOOK_BACK : minute][::-1].tolist(), clear))
    return found


def _scattered(clear: ClearLight, minutes: list[float], utc_s: float) -> list[float]:
    shares = [clear.at(utc_s - 60.0 * (k + 0.5)) for k in range(len(minutes))]
    return [light * share[1] for light, share in zip(minutes, shares, strict=True) if share is not None]


def test_how_often_it_is_wrong_under_clouds_and_right_in_shade() -> None:
    starts = _starts()
    told = {"open": 0, "shade": 0, "window": 0, None: 0}
    hit = {"shade": 0, "window": 0}
    clear_sky = in_shade = in_half_shade = behind_glass = 0
    for utc_s, minutes, clear in starts:
        found = guess(minutes, utc_s, clear)
        told[found.light_in if found else None] += 1
        shares = [light / clear.at(utc_s - 60.0 * (k + 0.5))[0] for k, light in enumerate(minutes[:15])]  # type: ignore[index]
        if not (min(shares) > 0.9 and max(shares) < 1.1):
            continue
        clear_sky += 1
        dark = _scattered(clear, minutes, utc_s)
        for name, light in (("shade", dark), ("half", [v / 2 for v in dark]), ("window", [0.8 * v for v in minutes])):
            seen = guess(light, utc_s, clear)
            if name == "window":
                behind_glass += seen is not None
                hit["window"] += seen is not None and seen.light_in == "window"
            elif seen is not None:
                hit["shade"] += seen.light_in == "shade"
                in_shade, in_half_shade = in_shade + (name == "shade"), in_half_shade + (name == "half")
                assert seen.light_in == "shade", "steady light of the sky alone is never taken for anything else"
    n = len(starts)
    print(f"{n} starts: {told}; of {clear_sky} in clear sky, shade told {in_shade}, half of it {in_half_shade}, glass"
          f" {hit['window']} of {behind_glass}")  # fmt: skip
    assert told["shade"] / n < 0.01 and told["window"] / n < 0.002
    assert min(in_shade, in_half_shade) / clear_sky > 0.4
    assert hit["window"] / clear_sky > 0.3 and told["open"] / n > 0.1


NOON_S = datetime(2016, 6, 23, 11, 30, tzinfo=UTC).timestamp()
CLEAR = clear_course(PAYERNE, NOON_S, UVA_NM, 0.87)


def _steady(share: float, utc_s: float = NOON_S, count: int = 15, ripple: float = 0.0) -> list[float | None]:
    found: list[float | None] = []
    for k in range(count):
        at = CLEAR.at(utc_s - 60.0 * (k + 0.5))
        found.append(None if at is None else share * at[0] * (1 + ripple * (-1) ** k))
    return found


@pytest.mark.parametrize(("share", "where"), [
    (1.0, "open"), (0.9, "open"), (0.8, "window"), (0.7, "window"), (0.5, None), (0.35, "shade"), (0.15, "shade"),
    (1.2, None), (COVERED / 2, None), (0.0, None), (-0.1, None),
])  # fmt: skip
def test_steady_light_by_its_share(share: float, where: str | None) -> None:
    """About noon of that day a third of a clear sky's UVA is scattered (check values: .35 at air mass 1)."""
    assert CLEAR.at(NOON_S)[1] == pytest.approx(0.37, abs=0.03)  # type: ignore[index]
    found = guess(_steady(share), NOON_S, CLEAR)
    assert (found.light_in if found else None) == where
    assert found is None or found.share == pytest.approx(share)


def test_what_moves_is_not_told_and_little_is_wanted() -> None:
    """Its bound is 0.05 % a minute, of the standard deviation: that of a ripple to and fro is the ripple."""
    assert guess(_steady(0.3, ripple=0.02), NOON_S, CLEAR) is None, "a cloud"
    assert guess(_steady(0.3, count=4), NOON_S, CLEAR) is None, "too short"
    assert guess(_steady(0.3, count=5), NOON_S, CLEAR) is not None
    assert guess(_steady(0.3, count=5, ripple=0.004), NOON_S, CLEAR) is None
    assert guess(_steady(0.3, count=15, ripple=0.004), NOON_S, CLEAR) is not None
    holed = _steady(0.3)
    holed[3] = None
    assert guess(holed, NOON_S, CLEAR) is None, "a hole in the newest five minutes"
    assert guess(_steady(0.3), NOON_S + 2 * DAY_S, CLEAR) is None, "nothing is known of that day"


def test_under_a_low_sun_shade_and_haze_look_alike() -> None:
    evening = NOON_S + 7 * 3600.0
    assert CLEAR.at(evening)[1] > MOST_SCATTERED  # type: ignore[index]
    assert guess(_steady(0.3, evening), evening, CLEAR) is None
    assert CLEAR.at(NOON_S + 12 * 3600.0) is None, "dark"


def test_the_words() -> None:
    shade, glass, open_sky = Lies("shade", 0.214), Lies("window", 0.8), Lies("open", 0.97)
    asked = seems_words(shade, "", "")
    assert "21 % of a clear sky's" in asked and "`--light-in shade`" in asked and asked.count("?") == 1
    assert "`--light-in window`" in seems_words(glass, "", "")
    assert seems_words(open_sky, "shade", "blue was proved in") == (
        "the light is 97 % of a clear sky's and steady, as under open sky; but blue was proved in shade: does it lie"
        " there?"
    )
