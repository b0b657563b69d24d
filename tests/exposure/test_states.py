"""The table of states and acts, cell by cell."""

from __future__ import annotations

import pytest

from uvdose.exposure.states import TABLE, Act, State, after
from uvdose.model import Refusal

# Written out by hand from the contract; None: refused.
EXPECTED = {
    "waiting": dict(light="counting", hold=None, resume=None, reach=None, finish="void", again=None,
                    void="void", card=None),
    "counting": dict(light=None, hold="held", resume=None, reach="reached", finish="finished", again=None,
                     void="void", card="counting"),
    "held": dict(light=None, hold=None, resume="counting", reach="held", finish="finished", again=None,
                 void="void", card="held"),
    "reached": dict(light=None, hold="held", resume=None, reach=None, finish="finished", again=None,
                    void="void", card="reached"),
    "finished": dict(light=None, hold=None, resume=None, reach=None, finish=None, again="counting",
                     void="void", card=None),
    "void": dict(light=None, hold=None, resume=None, reach=None, finish=None, again=None, void=None, card=None),
}


@pytest.mark.parametrize("state", list(State))
@pytest.mark.parametrize("act", list(Act))
def test_cell(state: State, act: Act) -> None:
    expected = EXPECTED[state][act]
    if expected is None:
        with pytest.raises(Refusal) as refused:
            after(state, act, 12)
        assert refused.value.line.startswith("exposure 12: ") and refused.value.code == 4
    else:
        assert after(state, act, 12) == expected


def test_every_cell_is_there() -> None:
    assert set(TABLE) == set(State) and all(set(row) == set(Act) for row in TABLE.values())


def test_resumed_past_its_target_it_is_reached_still() -> None:
    assert after(State.HELD, Act.RESUME, 1, was_reached=True) is State.REACHED
    assert after(State.FINISHED, Act.AGAIN, 1, was_reached=True) is State.REACHED
