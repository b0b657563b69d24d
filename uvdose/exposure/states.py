"""The table of states and acts of an exposure. Everything that can happen to a sheet is one cell of it."""

from __future__ import annotations

import enum

from ..messages import ExposureDoc
from ..model import Refusal


class State(enum.StrEnum):
    """waiting (for light or the beat), counting, held, reached (still in the light), finished, void (taken back)."""

    WAITING = "waiting"
    COUNTING = "counting"
    HELD = "held"
    REACHED = "reached"
    FINISHED = "finished"
    VOID = "void"


class Act(enum.StrEnum):
    """light: light falls (a start, the beat of a count-in). reach: the target is reached. again: a finished print goes
    out once more. void: a mistaken start is taken back. card: the card over a test strip was moved. The others are
    what they say.
    """

    LIGHT = "light"
    HOLD = "hold"
    RESUME = "resume"
    REACH = "reach"
    FINISH = "finish"
    AGAIN = "again"
    VOID = "void"
    CARD = "card"


def act_word(act: Act) -> str:
    """An act as a person says it."""
    return "start" if act is Act.LIGHT else str(act)


_TAKEN_BACK = "it was taken back; `uvdose undo` with its number brings it back"

# A resumed exposure whose target has been reached before is counting on past it: see `after`.
TABLE: dict[State, dict[Act, State | str]] = {
    State.WAITING: {
        Act.LIGHT: State.COUNTING,
        Act.HOLD: "it has not begun; there is nothing to hold",
        Act.RESUME: "it has not begun; wait for its beat",
        Act.REACH: "it has not begun",
        Act.FINISH: State.VOID,
        Act.AGAIN: "it has not begun",
        Act.VOID: State.VOID,
        Act.CARD: "it has not begun",
    },
    State.COUNTING: {
        Act.LIGHT: "it is in the light already",
        Act.HOLD: State.HELD,
        Act.RESUME: "it is in the light already; hold it first",
        Act.REACH: State.REACHED,
        Act.FINISH: State.FINISHED,
        Act.AGAIN: "it is in the light; it is not finished",
        Act.VOID: State.VOID,
        Act.CARD: State.COUNTING,
    },
    State.HELD: {
        Act.LIGHT: "it is held",
        Act.HOLD: "it is held already; resume it to go on",
        Act.RESUME: State.COUNTING,
        Act.REACH: State.HELD,
        Act.FINISH: State.FINISHED,
        Act.AGAIN: "it is held; resume it",
        Act.VOID: State.VOID,
        Act.CARD: State.HELD,
    },
    State.REACHED: {
        Act.LIGHT: "it is in the light already",
        Act.HOLD: State.HELD,
        Act.RESUME: "it is in the light already; hold it first",
        Act.REACH: "its target is reached already",
        Act.FINISH: State.FINISHED,
        Act.AGAIN: "it is in the light; it is not finished",
        Act.VOID: State.VOID,
        Act.CARD: State.REACHED,
    },
    State.FINISHED: {
        Act.LIGHT: "it is finished",
        Act.HOLD: "it is finished",
        Act.RESUME: "it is finished",
        Act.REACH: "it is finished",
        Act.FINISH: "it is finished already",
        Act.AGAIN: State.COUNTING,
        Act.VOID: State.VOID,
        Act.CARD: "it is finished",
    },
    State.VOID: {
        Act.LIGHT: _TAKEN_BACK,
        Act.HOLD: _TAKEN_BACK,
        Act.RESUME: _TAKEN_BACK,
        Act.REACH: _TAKEN_BACK,
        Act.FINISH: _TAKEN_BACK,
        Act.AGAIN: _TAKEN_BACK,
        Act.VOID: "it was taken back already",
        Act.CARD: _TAKEN_BACK,
    },
}

ENDED = (State.FINISHED, State.VOID)
UNHEARD = {"link", "silent"}  # alarms: while one of these is on, nobody knows the light of now


def settling(shown: ExposureDoc) -> bool:
    """Whether it has ended, and its last light is still to be known."""
    return shown.state in ENDED and not shown.settled


def state_word(shown: ExposureDoc) -> str:
    """Its state as a person reads it."""
    return "settling" if settling(shown) else shown.state


def after(state: State, act: Act, exposure: int, was_reached: bool = False) -> State:
    """The state after an act. Raises `Refusal` with the reason where the table has none."""
    cell = TABLE[state][act]
    if not isinstance(cell, State):
        raise Refusal(f"exposure {exposure}: {cell}")
    return State.REACHED if act in (Act.RESUME, Act.AGAIN) and was_reached else cell
