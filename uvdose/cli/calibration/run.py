"""A calibration print in the light: started, watched to its end, and the card's moves taken."""

from __future__ import annotations

import shutil
import sys
from contextlib import suppress
from typing import TYPE_CHECKING

from ...model import Refusal
from ..questions import at_terminal

if TYPE_CHECKING:
    from ...asked import Trial, When
    from ...config import Home
    from ...messages import ExposureDoc, StepCall
    from ..asking import Daemon
    from .sheets import Sheet

LOOK_S = 0.25
BAR = 24
FRESH = "\r\x1b[K"  # the line anew: what was drawn on it goes
SAY_S = 5.0


def start_sheet(place: Home, sheet: Sheet, frame: str | None, count_in: int, light_in: str = "") -> ExposureDoc:
    """Begin its exposure. Raises `Refusal`."""
    from ...asked import StartRequest
    from ...messages import Part, Taken
    from ..acts import exposure_of, say_unrecorded
    from ..asking import need_daemon
    from ..show import note

    if sheet.state not in ("planned", "exposed"):
        raise Refusal(f"{sheet.name} is {sheet.state}: `uvdose {sheet.kind} plan` begins a new one")
    request = StartRequest(
        target=sheet.name, sensor=sheet.note.sensor, frame=frame, count_in_s=count_in, trial=trial_of(sheet),
        part=Part(sheet.kind, sheet.number), light_in=light_in,
    )
    taken = need_daemon(place).post("exposures", request, Taken)
    say_unrecorded(taken)
    if taken.seems is not None:
        note(taken.seems.words)
    return exposure_of(taken)


def trial_of(sheet: Sheet) -> Trial:
    """The dose to call at, and what to do on the way."""
    from ...asked import Trial
    from ...calibrate.series import Series, moments
    from ...messages import StepCall
    from ...notes import StripPlan

    plan = sheet.note.plan
    if not isinstance(plan, StripPlan):
        return Trial(plan.dose, sheet.note.unit)
    whole = plan.doses[-1]
    on_the_way = [m for m in moments(Series(plan.doses, 0.0), plan.way) if 0 < m.dose < whole]
    return Trial(whole, sheet.note.unit, tuple(StepCall(m.dose / whole, m.words, plan.way, m.step) for m in on_the_way))


def first_words(sheet: Sheet) -> str:
    """What to do with the sheet when the exposure begins."""
    from ...notes import StripPlan

    plan = sheet.note.plan
    if isinstance(plan, StripPlan) and plan.way == "uncover":
        return f"uncover step {len(plan.doses)}, the others stay under the card"
    return "uncover the whole sheet"


def watch_sheet(place: Home, sheet: Sheet, number: int) -> ExposureDoc:
    """Follow an exposure until it is finished. At a terminal Enter says that the card was moved, and at the end that
    the sheet was taken in. Raises EOFError when the terminal is gone."""
    from ...clock import pause, real_s
    from ..asking import need_daemon

    daemon = need_daemon(place)
    screen = _Screen(sheet, number, max(told_steps(place, number), default=0))
    heard_s = -SAY_S
    try:
        while True:
            shown = _find(daemon, number)
            if shown.state in ("finished", "void"):
                return shown
            if at_terminal():
                screen.draw(shown)
                if _entered(LOOK_S):
                    screen.take(daemon, _find(daemon, number))
            else:
                if screen.called(shown) or real_s() - heard_s >= SAY_S:
                    heard_s = real_s()
                    print(screen.line(shown), flush=True)
                pause(LOOK_S)
    finally:
        screen.end()


def say_counts_on(sheet: Sheet, number: int) -> None:
    """The person has left it."""
    from ..show import say

    again, moved = (f"`uvdose {sheet.kind} {verb} {sheet.number}`" for verb in ("run", "moved"))
    card = f" {moved} says that the card was moved," if sheet.kind == "strip" else ""
    say(f"it counts on: {again} watches it again,{card} `uvdose finish {number}` ends it")


def told_steps(place: Home, number: int) -> list[int]:
    """The step calls, from 1, at which the person has said that the card was moved, in the order of the acts."""
    from ...review.cards import card_acts
    from ..asking import journal

    with journal(place) as store, suppress(Refusal):  # one that is not yet on disk has no acts there
        told = card_acts(store, store.exposure(number))
        return sorted(told, key=lambda step: told[step].number)
    return []


def say_moved(daemon: Daemon, number: int, when: When | None = None) -> ExposureDoc:
    """The card was moved, just now unless another moment is said."""
    from ...asked import When
    from ...messages import Taken
    from ..acts import exposure_of

    return exposure_of(daemon.post(f"exposures/{number}/card", when or When(), Taken))


def untold_words(words: list[str]) -> str:
    """That nobody told of these moves of the card, and what they are taken for."""
    return f"nobody told when this was done, so it is taken as done at its call: {', '.join(words)}"


def _find(daemon: Daemon, number: int) -> ExposureDoc:
    for shown in daemon.status().exposures:
        if shown.id == number:
            return shown
    raise Refusal(f"exposure {number} is no longer told; `uvdose day` shows it")


def _entered(seconds: float) -> bool:
    """Whether Enter was pressed within so many seconds."""
    import select

    if not select.select([sys.stdin], [], [], seconds)[0]:
        return False
    if not sys.stdin.readline():
        raise EOFError
    return True


def steps_due(steps: tuple[StepCall, ...], shown: ExposureDoc) -> int:
    """How many steps of a strip the dose has passed, its end included."""
    return sum(shown.fraction >= step.share for step in steps) + (shown.fraction >= 1)


def next_words(steps: tuple[StepCall, ...], shown: ExposureDoc, done: int) -> tuple[str, bool]:
    """What is to be done next at a strip of which so many steps are done, and whether it is to be done now."""
    from ...review.layout import figure
    from ...units import minutes

    due = steps_due(steps, shown)
    if due > done:
        return f"NOW: {steps[due - 1].words if due <= len(steps) else 'cover it and take it in'}", True
    step = steps[due] if due < len(steps) else None
    share = 1.0 if step is None else step.share
    left = ""
    if shown.eta_s is not None and shown.fraction < share:
        left = f" in about {minutes(shown.eta_s * (share - shown.fraction) / (1 - shown.fraction))}"
    if step is None:
        return f"next: cover it{left}", False
    return f"next: {step.words} at {figure(share * shown.target_dose)}{left}", False


class _Screen:
    """One line that is drawn over, and above it what was called and taken."""

    def __init__(self, sheet: Sheet, number: int, done: int) -> None:
        self._sheet = sheet
        self._steps = trial_of(sheet).steps
        self._number = number
        self._done = done  # calls up to this one were answered, also from a terminal that was closed
        self._said = -1
        self._drawn = False

    def called(self, shown: ExposureDoc) -> bool:
        """Whether a step has come that was not said yet."""
        due = self._due(shown)
        new = due > self._said >= 0 or (due > 0 and self._said < 0)
        self._said = max(due, self._said)
        return new

    def _due(self, shown: ExposureDoc) -> int:
        return steps_due(self._steps, shown)

    def line(self, shown: ExposureDoc, width: int = 0, hint: str = "") -> str:
        """Dose, and what comes next; within a width, if one is given."""
        from ...review.layout import alarm_words, shorten, with_unit
        from ...units import percent
        from ..screen import LEAST_BAR, dose_bar

        words = next_words(self._steps, shown, self._done)[0]
        told = f" {percent(shown.fraction):>5}  {with_unit(shown.dose, shown.unit)}  {words}{hint}"
        troubles = "".join(f"  {alarm_words(alarm)}" for alarm in shown.alarms)
        room = width - len(told) - len(troubles) - 1 if width else BAR
        bar = dose_bar(shown.fraction, min(BAR, room)) if room >= LEAST_BAR else ""  # the words matter more
        return shorten(f"{bar}{told}{troubles}", width) if width else f"{bar}{told}{troubles}"

    def draw(self, shown: ExposureDoc) -> None:
        """Over what was drawn before; a call rings the terminal's bell once."""

        bell = "\a" if self.called(shown) else ""
        hint = "  (Enter when done)" if self._due(shown) > self._done else ""
        width = shutil.get_terminal_size().columns - 1  # a line that is broken could not be drawn over
        print(f"{FRESH}{self.line(shown, width, hint)}{bell}", end="", flush=True)
        self._drawn = True

    def take(self, daemon: Daemon, shown: ExposureDoc) -> None:
        """Enter: the card was moved; after the target the sheet was taken in."""

        from ...asked import When
        from ...messages import Taken
        from ...review.layout import with_unit, wrap
        from ..acts import exposure_of
        from ..show import say

        self._drawn = False
        print(FRESH, end="")
        due = self._due(shown)
        missed = [step.words for step in self._steps[self._done : max(self._done, due - 1)]]
        if missed:
            print("\n".join(wrap(untold_words(missed), width=shutil.get_terminal_size().columns)))
        if due > len(self._steps):
            done = exposure_of(daemon.post(f"exposures/{self._number}/finish", When(), Taken))
            say(f"taken in at {with_unit(done.dose, done.unit)}")
        elif due > self._done:
            moved = say_moved(daemon, self._number)
            say(f"{self._steps[due - 1].words}: done at {with_unit(moved.dose, moved.unit)}")
        else:
            kind, sheet = self._sheet.kind, self._sheet.number
            early = f"; if the card was moved all the same: `uvdose {kind} moved {sheet}`" if self._steps else ""
            say(f"not yet: {next_words(self._steps, shown, self._done)[0].removeprefix('next: ')}{early}")
        self._done = max(self._done, due)

    def end(self) -> None:
        """Leave the line as it is."""
        if self._drawn:
            print(flush=True)
            self._drawn = False
