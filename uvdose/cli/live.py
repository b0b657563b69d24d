"""The live screen of `uvdose watch` at a terminal: drawn anew four times a second, and led by single keys."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..model import Refusal
from .hand import Ask, Hand

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console
    from rich.text import Text as RichText

    from ..config import Home
    from ..messages import ExposureDoc, StatusDoc
    from .asking import Daemon
    from .light import Light

LIVE_S = 0.25
NO_DAEMON = 3
_STYLES = {"strong": "bold", "alarm": "bold red", "hint": "reverse"}


class LiveScreen:
    """ended(told): whether the person asked to watch until now."""

    def __init__(self, place: Home, daemon: Daemon, console: Console, ended: Callable[[StatusDoc], bool]) -> None:
        from .light import read_light

        self._daemon = daemon
        self._console = console
        self._ended = ended
        self._hand = Hand()
        self._told = daemon.status()
        self._light: Light = read_light(place, self._told)
        self._calls = _calls(self._told)

    def run(self) -> StatusDoc:
        """Until it has ended, or by an exception; the last that was told."""
        from rich.live import Live

        from .keys import Keys

        with Keys() as keys, Live(self._picture(), console=self._console, auto_refresh=False, screen=True) as live:
            while not self._ended(self._told):
                for key in keys.read(LIVE_S):
                    ask = self._hand.press(key, self._told)
                    if ask is not None:
                        self._do(ask)
                    if self._hand.question is not None:
                        break  # what was typed before the question could be read does not answer it
                self._told = self._daemon.status()
                self._light.take(self._told)
                if (calls := _calls(self._told)) - self._calls:
                    self._console.bell()
                self._calls = calls
                live.update(self._picture(), refresh=True)
        return self._told

    def _do(self, ask: Ask) -> None:
        from ..messages import Taken
        from ..review.layout import with_unit
        from ..units import percent

        path = "quiet" if ask.exposure is None else f"exposures/{ask.exposure}/{ask.act}"
        try:
            taken = self._daemon.post(path, {}, Taken)
        except Refusal as err:
            if err.code == NO_DAEMON:
                raise
            self._hand.say(err.line, bad=True)
            return
        d = taken.exposure
        line = f"exposure {d.id}: {d.state} at {with_unit(d.dose, d.unit)}, {percent(d.fraction)}" if d else (
            "the present calls are silenced"
        )
        self._hand.say(f"{line}  {taken.note}".rstrip(), bad=not taken.recorded)

    def _picture(self) -> RichText:
        from rich.text import Text

        from ..stamps import from_iso
        from .screen import fitted, live_lines

        width, height = self._console.size
        told, hand = self._told, self._hand
        now_us = from_iso(told.utc)
        about = hand.current(told)
        graphs = {s.name: self._light.lines(s, now_us, width) for s in told.sensors}
        steps = {d.id: step for d in hand.shown(told) if (step := strip_line(d))[0]}
        top = live_lines(told, width, hand.shown(told), graphs, steps, about.id if about is not None else None)
        style = "strong" if hand.question is not None else "hint"
        foot = [(hand.said, "alarm" if hand.bad else "strong"), (hand.hint(told), style)]
        picture = Text(no_wrap=True, overflow="ellipsis")
        for i, (line, style) in enumerate(fitted(top, foot, width, height)):
            picture.append(("\n" if i else "") + line, style=_STYLES.get(style, ""))
        return picture


def strip_line(shown: ExposureDoc) -> tuple[str, str]:
    """What comes next at a test strip, and the style to show it in; nothing for what is no strip in the light."""
    from ..exposure.states import ENDED
    from .calibration.run import next_words

    if shown.part is None or shown.part.kind != "strip" or shown.state in ENDED:
        return "", ""
    words, now = next_words(shown.steps, shown, shown.card_moves)
    return words, "alarm" if now else "strong"


def _calls(told: StatusDoc) -> set[tuple[int, str]]:
    return {(d.id, key) for d in told.exposures for key in d.calls}
