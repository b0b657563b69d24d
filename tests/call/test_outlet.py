"""An outlet on its own: it takes messages without waiting, tries again, and comes back from whatever befalls it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from uvdose.call import outlet as outlet_module
from uvdose.call.outlet import BOUND, Message, Outlet, WayFault
from uvdose.call.ways import MOST_TOLD, PUSH, Ways
from uvdose.config import CallSettings
from uvdose.exposure.calls import LEAD, LOOK, OVERSHOOT, REACHED, READY, REMINDER, STEP
from uvdose.exposure.outcome import Ring


def until(true: Callable[[], bool], seconds: float = 10) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.005)


class Far:
    """The far end of an outlet, whose mood a test sets."""

    def __init__(self) -> None:
        self.mood = "ok"
        self.got: list[str] = []
        self.tried = 0
        self.changes: list[tuple[str, str]] = []
        self.let_go = threading.Event()

    def send(self, message: Message) -> None:
        self.tried += 1
        if self.mood == "hang":
            self.let_go.wait(60)
        if self.mood == "fault":
            raise WayFault("the line is cut")
        if self.mood == "secret":
            raise ValueError("https://token@somewhere")
        if self.mood == "die":
            raise SystemExit
        self.got.append(message.body)

    def changed(self, name: str, line: str) -> None:
        self.changes.append((name, line))


def message(body: str, exposure: int = 1, key: str = "reached") -> Message:
    return Message((exposure, key), "uvdose bindery", body)


@pytest.fixture
def far(monkeypatch: pytest.MonkeyPatch) -> Iterator[Far]:
    monkeypatch.setattr(outlet_module, "FIRST_AGAIN_S", 0.05)
    far = Far()
    yield far
    far.let_go.set()


@pytest.fixture
def way(far: Far, monkeypatch: pytest.MonkeyPatch) -> Iterator[Outlet]:
    monkeypatch.setattr(outlet_module, "GRACE_S", 0.1)
    one = Outlet("push", far.send, 0.3, far.changed)
    yield one
    one.close()


def test_messages_go_out_in_order(far: Far, way: Outlet) -> None:
    for body in "abc":
        way.give(message(body))
    until(lambda: far.got == ["a", "b", "c"])
    assert way.trouble == "" and far.changes == []


def test_it_is_tried_again_until_it_goes_out_and_told_once(far: Far, way: Outlet) -> None:
    far.mood = "fault"
    way.give(message("a"))
    until(lambda: far.tried >= 3)
    assert way.trouble == "the line is cut"
    far.mood = "ok"
    until(lambda: way.trouble == "")
    assert far.got == ["a"] and far.changes == [("push", "the line is cut"), ("push", "")]


def test_an_acknowledged_call_is_not_tried_again(far: Far, way: Outlet) -> None:
    far.mood = "fault"
    way.give(message("a"))
    until(lambda: far.tried >= 1)
    way.hush((1, "reached"))
    far.mood = "ok"
    way.give(message("b", 2))
    until(lambda: far.got == ["b"])
    time.sleep(0.3)
    assert far.got == ["b"]


def test_a_call_acknowledged_while_it_is_under_way_is_not_tried_again(far: Far, way: Outlet) -> None:
    far.mood = "hang"
    way.give(message("a"))
    until(lambda: far.tried == 1)
    way.hush((1, "reached"))
    far.mood = "fault"
    far.let_go.set()
    until(lambda: way.trouble != "")
    time.sleep(0.3)
    assert far.tried == 1


def test_what_hangs_is_given_up_and_the_next_goes_out(far: Far, way: Outlet) -> None:
    far.mood = "hang"
    way.give(message("a"))
    until(lambda: far.tried == 1)
    begun = time.monotonic()
    for i in range(100):
        way.give(message(f"b{i}", 2))
    assert time.monotonic() - begun < 0.3, "handing over does not wait"
    far.mood = "ok"
    until(lambda: (way.look(), bool(far.got))[1])
    assert "did not end within 0.3 s" in far.changes[0][1]
    until(lambda: "b99" in far.got)
    assert len(far.got) <= BOUND + 1, "the oldest gave way"


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_dead_thread_is_begun_anew(far: Far, way: Outlet) -> None:
    far.mood = "die"
    way.give(message("a"))
    until(lambda: far.tried == 1 and not way._thread.is_alive())
    far.mood = "ok"
    way.look()
    assert far.changes[0][1] == "its thread had died and was begun anew"
    until(lambda: far.got == ["a"])
    until(lambda: way.trouble == "")


def test_the_words_of_a_foreign_fault_are_not_told(far: Far, way: Outlet) -> None:
    far.mood = "secret"
    way.give(message("a"))
    until(lambda: way.trouble != "")
    assert way.trouble == "it failed with ValueError"


def test_a_test_is_tried_once_and_answered_once(far: Far, way: Outlet) -> None:
    heard: list[str] = []
    far.mood = "fault"
    way.give(message("a", 0, "test"), heard.append)
    until(lambda: heard == ["the line is cut"])
    time.sleep(0.2)
    assert far.tried == 1 and heard == ["the line is cut"]
    far.mood = "ok"
    way.give(message("b", 0, "test"), heard.append)
    until(lambda: heard == ["the line is cut", ""])


# -- which calls go out ------------------------------------------------------------------------------------------


class Given:
    """In place of an outlet."""

    def __init__(self, name: str) -> None:
        self.name, self.trouble = name, ""
        self.bodies: list[str] = []

    def give(self, message: Message) -> None:
        self.bodies.append(message.body)

    def hush(self, key: tuple[int, str]) -> None:
        pass


def _ring(kind: str, exposure: int = 1) -> Ring:
    return Ring(exposure, f"{kind}:1", kind, "sill", 0, kind == REACHED, kind)


def _ways() -> tuple[Ways, Given, Given]:
    ways = Ways(CallSettings(), Path(), "bindery", lambda way, line: None)
    push, desk = Given(PUSH), Given("desktop")
    ways.outlets.update(push=push, desktop=desk)  # type: ignore[arg-type]
    return ways, push, desk


def test_every_call_is_pushed_but_those_of_a_strip() -> None:
    ways, push, desk = _ways()
    kinds = [LOOK, LEAD, REACHED, OVERSHOOT, REMINDER, STEP, READY]
    for kind in kinds:
        ways.call(_ring(kind), kind, 0.0)
    assert push.bodies == [LOOK, LEAD, REACHED, OVERSHOOT, REMINDER] and desk.bodies == kinds


def test_a_call_that_insists_is_told_again_by_the_minute_and_not_for_ever() -> None:
    ways, push, _ = _ways()
    for second in range(0, 3600, 8):
        ways.call(_ring(REACHED), "enough", float(second))
    assert len(push.bodies) == MOST_TOLD
    ways.hush(1, "reached:1")
    ways.call(_ring(REACHED), "out again, and enough again", 3601.0)
    assert len(push.bodies) == MOST_TOLD + 1
