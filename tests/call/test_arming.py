"""Arming on paper: one command at a time, believed by its answer alone, and never in the way of a node that cannot."""

from __future__ import annotations

from uvdose.call.arming import ANSWER_S, RENEW_S, Arming, Held
from uvdose.exposure.arming import KEEP, Want


class Paper:
    """An arming whose wire is a list; `look` as the daemon does, once a second."""

    def __init__(self) -> None:
        self.sent: list[str] = []
        self.armed: list[tuple[int, Held]] = []
        self.refused: list[str] = []
        self.up, self.now, self.flags, self.boot = True, 0.0, 0, 7
        self.each_s = 1.0  # between two lines of the node
        self.wants: dict[int, Want] = {}
        self.called: list[tuple[int, int]] = []
        self.arming = Arming(self._send, lambda s, slot, held: self.armed.append((slot, held)),
                             lambda s, register, uptime_ms: self.called.append((register, uptime_ms)),
                             lambda s, line: self.refused.append(line))  # fmt: skip

    def _send(self, sensor: str, command: str) -> bool:
        if self.up:
            self.sent.append(command)
        return self.up

    def look(self, seconds: float = 0.0) -> None:
        self.now += seconds
        said_ms = int(self.now / self.each_s) * round(1000 * self.each_s)
        self.arming.look("sill", self.boot, said_ms, self.flags, self.wants, self.now)

    def answer(self, text: str) -> None:
        self.arming.answer("sill", text, self.now)

    def obey(self, seconds: int = 30, armed_flag: int = 2) -> None:
        """A node that answers all, for so many seconds. armed_flag: what its lines say once it is armed."""
        for _ in range(seconds):
            self.look(1.0)
            while self.sent and self.arming._nodes["sill"].asked is not None:
                words = self.sent[-1].split(" ")
                self.flags = armed_flag if words[0] == "arm" else self.flags
                self.answer(f"ok {self.sent[-1]}" if words[0] == "arm" else f"ok {words[0]}")


def test_a_want_is_armed_once_and_the_lease_renewed() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    paper.obey(25)
    assert paper.sent == ["arm 0 1000 4", "lease 30", "lease 30", "lease 30"]
    assert paper.armed == [(0, Held(3, 1000))] and paper.arming.holds("sill") == {3}
    assert paper.refused == [] and paper.arming.trouble("sill") == ""
    assert RENEW_S == 10


def test_a_line_from_before_the_answer_tells_nothing_of_the_slots() -> None:
    """A node that says a line each 10 s (0.1 Hz, wire format): its flags are as old as the line."""
    paper = Paper()
    paper.each_s, paper.wants = 10.0, {3: Want(1000, 5)}
    paper.obey(9, armed_flag=0)
    assert [c for c in paper.sent if "lease" not in c] == ["arm 0 1000 4"] and len(paper.armed) == 1
    paper.obey(4, armed_flag=0)  # the next line says that it holds nothing
    assert [c for c in paper.sent if "lease" not in c] == ["arm 0 1000 4"] * 2


def test_within_the_slack_it_stays_and_beyond_it_moves_in_its_own_slot() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5), 4: Want(2000, 5)}
    paper.obey(3)
    paper.wants = {3: Want(1005, 5), 4: Want(2006, 5)}
    paper.obey(3)
    assert [c for c in paper.sent if c.startswith("arm")] == ["arm 0 1000 4", "arm 1 2000 4", "arm 1 2006 4"]


def test_what_is_wanted_no_more_is_disarmed_and_what_is_to_stay_stays() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5), 4: Want(2000, 5)}
    paper.obey(3)
    paper.wants = {4: KEEP}
    paper.obey(5)
    assert [c for c in paper.sent if c.startswith("disarm")] == ["disarm 0"] and paper.arming.holds("sill") == {4}


def test_slots_left_from_before_the_link_are_taken_or_freed_but_not_while_one_is_to_stay() -> None:
    paper = Paper()
    paper.flags = 2
    paper.wants = {4: KEEP}
    paper.obey(5)
    assert paper.sent == []
    paper.wants = {4: Want(2000, 5)}
    paper.obey(8)
    assert [c for c in paper.sent if "lease" not in c] == ["arm 0 2000 4", "disarm 1", "disarm 2", "disarm 3"]


def test_a_node_that_knows_no_arm_is_told_once_and_asked_less_and_less() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    for _ in range(300):
        paper.look(1.0)
        paper.answer("err unknown")
    assert len(paper.sent) < 15
    assert paper.refused == ["the node will not call by itself: it answered 'err unknown'"]
    assert "err unknown" in paper.arming.trouble("sill") and paper.arming.holds("sill") == set()
    paper.arming.link_up("sill")
    paper.obey(3)
    assert paper.arming.holds("sill") == {3} and paper.arming.trouble("sill") == ""


def test_silence_is_tried_again_and_told_after_three_times() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    while len(paper.sent) < 3:
        paper.look(ANSWER_S)
    assert paper.refused == []
    for _ in range(30):
        paper.look(1.0)
    assert paper.refused == ["the node will not call by itself: it does not answer"]


def test_a_broken_checksum_is_only_tried_again() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    for _ in range(20):
        paper.look(1.0)
        paper.answer("err checksum")
    assert paper.refused == []
    paper.now += 60
    paper.obey(2)
    assert paper.arming.holds("sill") == {3}


def test_a_sensor_that_cannot_be_read_is_no_refusal() -> None:
    """`err sensor` answers a `now` of somebody else (wire format); the answer to `arm` comes behind it."""
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    paper.look(1.0)
    for _ in range(3):
        paper.answer("err sensor")
    paper.answer("ok arm 0 1000 4")
    assert paper.arming.holds("sill") == {3} and paper.refused == []
    assert [c for c in paper.sent if c.startswith("arm")] == ["arm 0 1000 4"]


def test_an_answer_that_echoes_another_value_is_no_proof() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    paper.look(1.0)
    paper.answer("ok arm 0 100 4")
    assert paper.arming.holds("sill") == set() and paper.armed == []


def test_an_answer_without_an_echo_is_believed() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    paper.look(1.0)
    paper.answer("ok arm")
    assert paper.arming.holds("sill") == {3}


def test_another_power_up_holds_nothing_and_is_armed_anew() -> None:
    paper = Paper()
    paper.wants = {3: Want(1000, 5)}
    paper.obey(3)
    paper.boot, paper.flags = 8, 0
    paper.look(1.0)
    assert paper.sent[-1] == "arm 0 1000 4" and paper.arming.holds("sill") == set()


def test_a_boot_that_brings_armed_slots_is_armed_anew_and_rid_of_the_others() -> None:
    """A node that had lost its sensor keeps what was left: exposure 4 was in slot 1, and would call from there, too."""
    paper = Paper()
    paper.wants = {3: Want(1000, 5), 4: Want(2000, 5)}
    paper.obey(3)
    paper.wants = {4: Want(700, 5)}
    paper.boot, paper.flags, at = 8, 2, len(paper.sent)
    paper.obey(8)
    assert paper.sent[at:] == ["arm 0 700 4", "disarm 1", "disarm 2", "disarm 3", "lease 30"]


def test_without_a_print_a_node_hears_nothing() -> None:
    paper = Paper()
    for _ in range(60):
        paper.look(1.0)
    assert paper.sent == []


def test_a_node_that_called_unheard_is_asked_when_before_anything_is_armed() -> None:
    paper = Paper()
    paper.flags = 4
    paper.wants = {3: Want(9000, 5)}
    paper.arming.inquire("sill")
    paper.look(1.0)
    for held in ("1000 4 4337", "-", "2000 4 -", "-"):
        paper.answer(f"ok {paper.sent[-1]} {held}")
    assert paper.called == [(1000, 4337)], "only what was reached"
    assert paper.sent == ["slot 0", "slot 1", "slot 2", "slot 3", "arm 0 9000 4"]


def test_a_node_that_knows_no_slot_command_is_not_asked_further() -> None:
    paper = Paper()
    paper.wants = {3: Want(9000, 5)}
    paper.arming.inquire("sill")
    paper.look(1.0)
    paper.answer("err unknown")
    paper.look(5.0)
    assert paper.sent == ["slot 0", "arm 0 9000 4"] and paper.refused == []


def _begun_anew(paper: Paper) -> None:
    """A restart of the daemon, or a link that opened, while exposure 3 is called from slot 0, and 4 waits in slot 1."""
    paper.flags = 6
    paper.arming.remember("sill", Held(3, 1000))
    paper.arming.remember("sill", Held(4, 2000))
    paper.wants = {3: KEEP, 4: Want(2000, 5), 5: Want(3000, 5)}
    paper.look(1.0)


def test_a_slot_that_calls_now_is_found_again_and_not_armed_over() -> None:
    """Exposure 4 was armed into slot 0, which ended the node's own call for exposure 3."""
    paper = Paper()
    _begun_anew(paper)
    for held in ("1000 4 4337", "2000 4 -", "-", "-"):
        paper.answer(f"ok {paper.sent[-1]} {held}")
    assert paper.sent == ["slot 0", "slot 1", "slot 2", "slot 3", "arm 2 3000 4"]
    paper.answer("ok arm 2 3000 4")
    paper.answer("ok lease")
    assert paper.arming.holds("sill") == {3, 4, 5}
    paper.wants = {4: Want(2000, 5), 5: Want(3000, 5)}
    paper.look(1.0)
    assert paper.sent[-1] == "disarm 0", "once it is acknowledged"


def test_a_node_that_does_not_tell_its_slots_is_armed_all_the_same() -> None:
    paper = Paper()
    _begun_anew(paper)
    paper.answer("err unknown")
    paper.look(5.0)
    assert paper.sent == ["slot 0", "arm 0 2000 4"]


def test_an_answer_about_another_slot_is_none() -> None:
    """A broker may deliver each answer twice."""
    paper = Paper()
    _begun_anew(paper)
    for held in ("1000 4 4337", "2000 4 -", "-", "-"):
        answer = f"ok {paper.sent[-1]} {held}"
        paper.answer(answer)
        paper.answer(answer)
    assert paper.called == [(1000, 4337)]
    assert paper.sent == ["slot 0", "slot 1", "slot 2", "slot 3", "arm 2 3000 4"]
