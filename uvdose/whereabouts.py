"""Where a print seems to lie at its start, against what the person says: a guess that is told, and decides nothing.

What the sensors say of a clear sky is reckoned from past days by another process, some times a day; the guess itself is
some sums over the last minutes. Runs on the daemon's loop.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Sequence

from .config import SensorSettings
from .dose.response import response_of
from .exposure.channel import Channel
from .light.lies import ClearLight, Lies, guess
from .messages import SeemsDoc
from .model import LIGHTS, Refusal
from .outlooks import Outlooks

AGAIN_S = 6 * 3600.0  # of the bench's own time: a course holds a day
LEAST_S = 60.0
FIRST_S = 2.0  # the start of the daemon has the machine to itself


class Whereabouts:
    """Give `keep` to the loop of a bench whose place is known."""

    def __init__(self, outlooks: Outlooks, sensors: Sequence[SensorSettings], pace: float) -> None:
        self._outlooks = outlooks
        self._factors = {sensor.name: response_of(sensor).factor for sensor in sensors}
        self._pace = pace
        self._clear: dict[str, ClearLight] = {}

    async def keep(self) -> None:
        """Runs for ever: ask for the clear light, and again before it ends."""
        wait_s = FIRST_S
        while True:
            await asyncio.sleep(wait_s)
            with contextlib.suppress(Refusal):  # without it nothing is guessed; the next time it may be had
                self._clear = await self._outlooks.clear()
            wait_s = max(LEAST_S, AGAIN_S / self._pace)

    def seems(self, channel: Channel, utc_s: float, said: str, by: str) -> SeemsDoc | None:
        """What is to be said at a start; None where the guess fits what was said, or where there is none.

        utc_s: Unix seconds of the newest reading. said: one of `LIGHTS` or empty; by: whose word it is.
        """
        track = channel.track
        clear, response = self._clear.get(channel.name), track.response
        if clear is None or response.factor != self._factors.get(channel.name):
            return None  # what past days say is of another scale
        if response.full_scale is not None and track.history.peak >= response.full_scale:
            return None  # a sensor at its upper end is steady, too
        minutes = [
            None if mean is None else response.factor * (mean - response.zero) for mean in track.history.minutes()
        ]
        found = guess(minutes, utc_s, clear)
        if found is None or found.light_in == (said or "open"):
            return None
        return SeemsDoc(found.light_in, round(found.share, 3), seems_words(found, said, by))


def seems_words(found: Lies, said: str, by: str) -> str:
    """A guess that does not fit what was said, as a question."""
    share = f"the light is {100 * found.share:.0f} % of a clear sky's"
    likes = {"open": "as under open sky", "shade": "as in the shade, or under an even grey sky",
             "window": "as behind glass, or under a haze"}  # fmt: skip
    if said:
        return f"{share} and steady, {likes[found.light_in]}; but {by} {LIGHTS[said]}: does it lie there?"
    where, same = ("in the shade", "an even grey sky") if found.light_in == "shade" else ("behind glass", "a haze")
    return (
        f"{share} though it is steady: does the frame lie {where}? Then say so with"
        f" `--light-in {found.light_in}`; {same} looks the same"
    )
