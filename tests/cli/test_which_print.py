"""An act without a number: the only print that can take it, or the list of those that can."""

from __future__ import annotations

import pytest

from uvdose.cli.which import the_only
from uvdose.messages import ExposureDoc
from uvdose.model import Refusal

from .conftest import Daemon


def _print(number: int, state: str, label: str = "") -> ExposureDoc:
    return ExposureDoc(
        number, "blue", 1, "sill", str(number), state, "mJ/cm2", 2565.0, 1000.0, 990.0, 1010.0, 0.39, 200.0, 0.0, 20.0,
        0.0, 50.0, "2026-06-21T10:00:00.000Z", None, None, None, [], [], False, label,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("act", "states", "meant"),
    [
        ("hold", ("finished", "counting"), 2), ("hold", ("held", "reached"), 2), ("resume", ("held", "counting"), 1),
        ("finish", ("void", "held"), 2), ("finish", ("waiting", "finished"), 1),
    ],
)  # fmt: skip
def test_the_only_one_that_can_take_it(act: str, states: tuple[str, ...], meant: int) -> None:
    assert the_only(act, [_print(n, state) for n, state in enumerate(states, 1)]).id == meant


@pytest.mark.parametrize(
    ("act", "states", "code", "told"),
    [
        ("hold", ("counting", "reached"), 2, "which print? hold 1 (fern, blue v1, frame 1, counting), or 2 (fern, "),
        ("finish", ("counting", "held"), 2, "2 (fern, blue v1, frame 2, held)"),
        ("resume", ("counting", "finished"), 4, "nothing to resume; in the light: 1 (fern, blue v1, frame 1, "),
        ("hold", ("finished",), 4, "nothing to hold: no print is in the light"),
    ],
)  # fmt: skip
def test_two_and_none_are_refused(act: str, states: tuple[str, ...], code: int, told: str) -> None:
    with pytest.raises(Refusal) as err:
        the_only(act, [_print(n, state, "fern") for n, state in enumerate(states, 1)])
    assert err.value.code == code and told in err.value.line


def test_held_taken_up_and_finished_without_a_number(daemon: Daemon) -> None:
    assert daemon.call("target", "set", "blue", "--dose", 60_000).code == 0
    daemon.run("hold").refused(4, "nothing to hold: no print is in the light")
    assert daemon.call("expose", "blue").code == 0
    assert daemon.run("hold").out.startswith("exposure 1: held at ")
    assert daemon.call("expose", "blue", "--frame", "2").code == 0
    assert daemon.run("resume").out.startswith("exposure 1: resumed at "), "the other one is in the light already"
    daemon.run("hold").refused(2, "hold 1 (", "or 2 (blue v1, frame 2, counting)")
    assert daemon.call("finish", 2).code == 0
    assert daemon.told("finish")["id"] == 1
