"""What the keys of `watch` do: one exposure is chosen, an act is asked for, a grave one is asked about first. Pure."""

from __future__ import annotations

from typing import NamedTuple

from ..exposure.states import ENDED
from ..messages import ExposureDoc, StatusDoc

ACTS = {"h": "hold", "r": "resume", "f": "finish", "u": "undo", "c": "card"}
ASKED = ("f", "u")
YES = ("y", "Y")


class Ask(NamedTuple):
    """What to ask of the daemon: act, of an exposure; `quiet` is of all."""

    act: str
    exposure: int | None


class Hand:
    """The person's side of the live screen. said: what the last act came to; bad: it was refused."""

    def __init__(self) -> None:
        self.said = ""
        self.bad = False
        self.question: Ask | None = None
        self._chosen: int | None = None

    def shown(self, told: StatusDoc) -> list[ExposureDoc]:
        """Exposures that run, and the chosen one also when it has ended, so that it can be undone."""
        return [d for d in told.exposures if d.state not in ENDED or d.id == self._chosen]

    def current(self, told: StatusDoc) -> ExposureDoc | None:
        """The one that a key is about: the chosen, else the newest that runs, else the newest of today."""
        chosen = [d for d in told.exposures if d.id == self._chosen]
        running = [d for d in told.exposures if d.state not in ENDED]
        return next(iter(chosen or reversed(running or told.exposures)), None)

    def press(self, key: str, told: StatusDoc) -> Ask | None:
        """A key was pressed; what to ask of the daemon, if anything."""
        question, self.question = self.question, None
        if question is not None:
            self.say("" if key in YES else "nothing was done")
            return question if key in YES else None
        if key == "q":
            return Ask("quiet", None)
        if key.isascii() and key.isdigit() and key != "0":
            self._choose(int(key), told)
        elif key in ACTS:
            return self._act(key, told)
        return None

    def say(self, line: str, bad: bool = False) -> None:
        """What an act came to."""
        self.said, self.bad = line, bad

    def hint(self, told: StatusDoc) -> str:
        """The keys, or the question that waits for its answer."""
        if self.question is not None:
            what = "take its newest act back" if self.question.act == "undo" else self.question.act
            return f"exposure {self.question.exposure}: {what}? y: yes; any other key: no"
        shown = self.shown(told)
        keys = ["h hold", "r resume", "f finish", "u undo", "q quiet"] if told.exposures else []
        if any(d.part is not None and d.part.kind == "strip" for d in shown):
            keys.append("c card moved")
        if len(shown) > 1:
            keys.append(f"1-{min(9, len(shown))} choose")
        return "   ".join([*keys, "Ctrl-C leaves"])

    def _choose(self, number: int, told: StatusDoc) -> None:
        shown = self.shown(told)
        if number <= len(shown):
            self._chosen = shown[number - 1].id
            self.say("")

    def _act(self, key: str, told: StatusDoc) -> Ask | None:
        about = self.current(told)
        if about is None:
            self.say("there is no exposure to act on", bad=True)
            return None
        if key == "c" and (about.part is None or about.part.kind != "strip"):
            self.say(f"exposure {about.id} is no test strip, so there is no card to move", bad=True)
            return None
        self._chosen = about.id  # what comes next, an undo say, is about the same one
        ask = Ask(ACTS[key], about.id)
        if key not in ASKED:
            return ask
        self.question = ask
        self.say("")
        return None
