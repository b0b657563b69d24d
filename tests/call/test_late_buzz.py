"""A buzz that is still on its way when the person acknowledges: it must not sound on when it arrives."""

from __future__ import annotations

import pytest

from uvdose.call.desk import ANSWER_S, Desk
from uvdose.exposure.outcome import Ring

RING = Ring(1, "reached", "reached", "sill", 0, True, "target reached")


def _desk(sent: list[str]) -> Desk:
    def send(_: str, command: str) -> bool:
        sent.append(command)
        return True

    return Desk(send, lambda _: True, lambda *_: None, lambda _: None)


@pytest.mark.parametrize("after_s", [0.2, ANSWER_S + 0.1, 7.5])
def test_an_unanswered_buzz_is_followed_by_quiet(after_s: float) -> None:
    """The broker stands still: the buzz lies in its buffer, however long ago it went out."""
    sent: list[str] = []
    desk = _desk(sent)
    desk.ring(RING, 0.0)
    desk.tick(after_s)
    desk.hush(1, "reached", after_s)
    assert sent[0] == "buzz 4 5" and sent[-1] == "quiet"
    desk.tick(60.0)
    assert sent[-1] == "quiet"


def test_a_buzz_that_has_ended_needs_no_quiet() -> None:
    sent: list[str] = []
    desk = _desk(sent)
    desk.ring(RING, 0.0)
    desk.answer("sill", "ok buzz", 0.1)
    desk.hush(1, "reached", 6.0)
    assert sent == ["buzz 4 5"]


def test_a_link_that_opened_anew_may_still_bring_the_old_buzz() -> None:
    sent: list[str] = []
    desk = _desk(sent)
    desk.ring(RING, 0.0)
    desk.link_up("sill", 0.5)
    desk.answer("sill", "ok buzz", 0.6)
    desk.hush(1, "reached", 0.7)
    assert sent[-1] == "quiet"
