"""Where a print seems to lie, from a sensor's own readings: what is asked, and when nothing is."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import msgspec
import pytest
from exposure.table import IDENTITY, RESPONSE, PaperBench
from support.alone import alone

from uvdose.config import SensorSettings
from uvdose.exposure.channel import Channel
from uvdose.light.lies import ClearLight
from uvdose.messages import SeemsDoc
from uvdose.model import Refusal
from uvdose.whereabouts import Whereabouts

NOW_S = 1_000_000.0
SILL = SensorSettings("sill", "simulated", scale=IDENTITY.scale)
FULL_SUN = 50.0  # W/m²; a third of it is scattered
CLEAR = ClearLight((NOW_S - 7200, NOW_S + 7200), (FULL_SUN, FULL_SUN), (0.35, 0.35))


class Known:
    """Stands for the other process: what it tells, or that it fails."""

    def __init__(self, clear: ClearLight | None) -> None:
        self.told = clear

    async def clear(self) -> dict[str, ClearLight]:
        if self.told is None:
            raise Refusal("the outlook could not be reckoned")
        return {"sill": self.told}


def _channel(light: Callable[[float], float], seconds: int = 960) -> Channel:
    paper = PaperBench(light)
    paper.pass_to(seconds)
    return paper.bench.channels["sill"]


def _seems(channel: Channel, said: str = "", known: ClearLight | None = CLEAR, scale: float = 0.01) -> SeemsDoc | None:
    async def asking() -> SeemsDoc | None:
        sensor = msgspec.structs.replace(SILL, scale=scale)
        asked = Whereabouts(Known(known), [sensor], 1e9)  # type: ignore[arg-type]
        keeping = asyncio.ensure_future(asked.keep())
        await asyncio.sleep(0.05)
        keeping.cancel()
        return asked.seems(channel, NOW_S, said, "blue was proved in")

    return alone(asking)


@pytest.fixture(autouse=True)
def _at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("uvdose.whereabouts.FIRST_S", 0.0)


@pytest.mark.parametrize(("share", "said", "found"), [
    (0.3, "", "shade"), (0.3, "open", "shade"), (0.3, "shade", None), (0.3, "window", "shade"),
    (1.0, "", None), (1.0, "open", None), (1.0, "shade", "open"), (0.8, "", "window"), (0.8, "window", None),
])  # fmt: skip
def test_it_is_asked_where_it_does_not_fit(share: float, said: str, found: str | None) -> None:
    seems = _seems(_channel(lambda s: share * FULL_SUN), said)
    assert (seems.light_in if seems else None) == found
    assert seems is None or seems.share == pytest.approx(share, abs=0.01)


def test_nothing_is_asked_where_nothing_is_known() -> None:
    steady = _channel(lambda s: 0.3 * FULL_SUN)
    assert _seems(steady) is not None
    assert _seems(steady, known=None) is None, "no clear day, or it failed"
    assert _seems(steady, scale=0.02) is None, "the scale is another one than that of the past days"
    assert _seems(_channel(lambda s: 0.3 * FULL_SUN * (1 + 0.1 * (s % 240 < 120)))) is None, "clouds"
    assert _seems(_channel(lambda s: 0.3 * FULL_SUN, 200)) is None, "three minutes"
    full = _channel(lambda s: 0.3 * FULL_SUN)
    full.track.respond(msgspec.structs.replace(RESPONSE, full_scale=full.track.history.peak))
    assert _seems(full) is None, "it stands at its upper end"
