"""The desk on paper: every call is seen through, none is proved by another's answer, none comes after its end."""

from __future__ import annotations

import itertools

from uvdose.call.desk import AGAIN_S, ANSWER_S, Desk
from uvdose.exposure.outcome import Ring


class Paper:
    """A desk whose wires are lists."""

    def __init__(self, nodes: tuple[str, ...] = ("sill",)) -> None:
        self.sent: list[tuple[float, str]] = []
        self.told: list[str] = []
        self.again: list[bool] = []
        self.proved: list[str] = []
        self.up, self.now = True, 0.0
        self.desk = Desk(self._send, lambda s: s in nodes, self._tell,
                         lambda r: self.proved.append(r.key))  # fmt: skip

    def _tell(self, ring: Ring, again: bool) -> None:
        self.told.append(ring.key)
        self.again.append(again)

    def _send(self, sensor: str, command: str) -> bool:
        if self.up:
            self.sent.append((self.now, command))
        return self.up

    def ring(self, key: str, sensor: str = "sill", exposure: int = 1) -> None:
        kind = key.split(":")[0]
        self.desk.ring(Ring(exposure, key, kind, sensor, 0, kind == "reached", key), self.now)

    def pass_to(self, second: float) -> None:
        """Only when the desk itself says that it has something to do."""
        for _ in range(1000):
            due = self.desk.due_s()
            if due is None or due > second:
                break
            self.now = max(self.now, due)
            self.desk.tick(self.now)
        else:
            raise AssertionError("the desk spins")
        self.now = second

    def answer(self, text: str = "ok buzz") -> None:
        self.desk.answer("sill", text, self.now)


def test_a_look_sounds_once_and_is_done_with() -> None:
    paper = Paper()
    paper.ring("look:0.7")
    assert paper.sent == [(0.0, "buzz 2 2")] and paper.proved == []
    paper.answer()
    paper.pass_to(60)
    assert len(paper.sent) == 1 and paper.proved == ["look:0.7"] and paper.told == ["look:0.7"]


def test_without_an_answer_it_is_tried_again_and_slower() -> None:
    paper = Paper()
    paper.ring("look:0.7")
    paper.pass_to(60)
    times = [t for t, _ in paper.sent]
    gaps = [b - a for a, b in itertools.pairwise(times)]
    assert 5 <= len(times) <= 14 and gaps == sorted(gaps) and paper.proved == []


def test_the_target_insists_until_it_is_hushed() -> None:
    paper = Paper()
    paper.ring("reached")
    for second in range(1, 40):
        paper.answer()
        paper.pass_to(second)
    assert [c for _, c in paper.sent] == ["buzz 4 5"] * 5
    assert paper.proved == ["reached"], "told once"
    paper.desk.hush(1, "reached", paper.now)
    count = len([c for _, c in paper.sent if c.startswith("buzz")])
    paper.pass_to(200)
    assert len([c for _, c in paper.sent if c.startswith("buzz")]) == count


def test_hushed_while_it_sounds_the_node_is_told() -> None:
    paper = Paper()
    paper.ring("reached")
    paper.answer()
    paper.pass_to(1)
    paper.desk.hush(1, "reached", paper.now)
    assert paper.sent[-1] == (1, "quiet")


def test_a_target_that_is_acknowledged_silences_no_other_one_of_its_sensor() -> None:
    """`quiet` would end the node's own call of the other print as well, for good (wire format)."""
    paper = Paper()
    for exposure in (1, 2):
        paper.ring("reached", exposure=exposure)
        paper.answer()
        paper.pass_to(exposure)
    paper.desk.hush(1, "reached", paper.now)
    assert "quiet" not in [c for _, c in paper.sent]
    paper.desk.hush(2, "reached", paper.now)
    assert paper.sent[-1] == (2, "quiet"), "the last one ends the sound"


def test_an_answer_to_a_hushed_call_proves_no_other() -> None:
    paper = Paper()
    paper.ring("look:0.7")
    paper.desk.hush(1, "look:0.7", paper.now)
    paper.ring("lead")
    assert [c for _, c in paper.sent if c.startswith("buzz")] == ["buzz 2 2"], "one buzz at a time is under way"
    paper.answer()
    assert paper.proved == []
    assert paper.sent[-1][1] == "buzz 3 2"
    paper.answer()
    assert paper.proved == ["lead"]


def test_the_answer_to_a_count_in_proves_no_call() -> None:
    paper = Paper()
    paper.desk.count_in("sill", 3, 0.0)
    paper.ring("look:0.7", exposure=2)
    paper.answer()
    assert paper.proved == []
    paper.answer()
    assert paper.proved == ["look:0.7"]


def test_an_error_proves_nothing() -> None:
    paper = Paper()
    paper.ring("look:0.7")
    paper.answer("err unknown")
    paper.answer("ok now")
    assert paper.proved == []


def test_it_waits_for_the_port_and_sounds_when_it_opens() -> None:
    paper = Paper()
    paper.up = False
    paper.ring("reached")
    paper.pass_to(30)
    assert paper.sent == [] and paper.told == ["reached"] * 3, "the terminal tells it meanwhile"
    paper.up = True
    paper.desk.link_up("sill", paper.now)
    assert paper.sent == [(30, "buzz 4 5")]


def test_a_sensor_without_a_node_is_called_on_the_terminal() -> None:
    paper = Paper(nodes=())
    paper.ring("look:0.7", "roof")
    paper.ring("reached", "roof")
    paper.pass_to(3 * AGAIN_S)
    assert paper.again == [False, False, True, True, True]
    assert paper.sent == [] and paper.told == ["look:0.7", *["reached"] * 4] and paper.proved == ["look:0.7", "reached"]


def test_two_nodes_do_not_wait_for_each_other() -> None:
    paper = Paper(nodes=("sill", "roof"))
    paper.ring("reached", "sill", 1)
    paper.ring("reached", "roof", 2)
    assert len(paper.sent) == 2
    paper.pass_to(ANSWER_S / 2)
    assert len(paper.sent) == 2


def test_a_beep_proves_no_call_and_sounds_in_place_of_none() -> None:
    """The answer to a beep came first, and was taken for the one to a look call whose own buzz was lost."""
    paper = Paper()
    paper.desk.beep("sill", "buzz 6 1", paper.now)
    paper.ring("look:0.7")
    assert paper.sent == [(0.0, "buzz 6 1")]
    paper.answer()
    assert paper.proved == [] and paper.sent[1:] == [(0.0, "buzz 2 2")]
    paper.desk.beep("sill", "buzz 6 1", paper.now)
    paper.answer()
    assert paper.proved == ["look:0.7"] and len(paper.sent) == 2
    paper.ring("reached")
    paper.answer()
    paper.pass_to(20)
    paper.desk.beep("sill", "buzz 6 1", paper.now)
    assert "buzz 6 1" not in [command for _, command in paper.sent[1:]], "the target call is on"


def test_a_beep_that_is_not_answered_holds_a_call_up_for_a_second_at_most() -> None:
    paper = Paper()
    paper.desk.beep("sill", "buzz 6 1", paper.now)
    paper.ring("reached")
    paper.pass_to(ANSWER_S)
    assert paper.sent[1] == (ANSWER_S, "buzz 4 5")
