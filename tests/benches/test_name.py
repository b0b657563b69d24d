"""Whose a bench's name is at a broker: the table of states, cell by cell, and what two make of each other over time.

No source outside: the rules are the project's own. What a broker does to messages is tested on a real one.
"""

from __future__ import annotations

import itertools

import pytest

from uvdose.intake.mqtt_name import FREE_AFTER_S, LOOK_S, SAME_S, SAY_EVERY_S, Claim, Name, read_claim


def looking(run: str = "m", now_s: float = 0.0) -> Name:
    name = Name(run)
    name.connected(now_s)
    return name


def held(run: str = "m", since_s: float = 0.0) -> Name:
    name = looking(run, since_s - LOOK_S)
    assert name.tend(since_s) and name.held
    return name


def left(run: str = "m", now_s: float = 0.0) -> Name:
    name = looking(run, now_s)
    name.hear(Claim("other", 100.0), now_s)
    assert name.left
    return name


def test_a_name_that_nobody_holds_is_held_after_a_look() -> None:
    name = looking()
    assert name.claim(0.5) == Claim("m", None)
    assert not name.tend(LOOK_S - 0.01) and not name.held
    assert name.tend(LOOK_S) and name.held and name.claim(LOOK_S + 2) == Claim("m", 2.0)


def test_without_a_broker_nothing_is_claimed() -> None:
    name = Name("m")
    assert not name.tend(1e6) and not name.held
    name.connected(0.0)
    name.lost()
    assert not name.tend(1e6) and not name.held


@pytest.mark.parametrize(("make", "claim", "answers", "holds", "leaves"), [
    (looking, Claim("m", None), False, False, False),  # the own word that comes back
    (looking, Claim("a", None), False, False, True),  # both ask: the lower run gets it
    (looking, Claim("z", None), False, False, False),
    (looking, Claim("a", 5.0), False, False, True),  # somebody holds it, whatever the runs
    (looking, Claim("z", 5.0), False, False, True),
    (held, Claim("m", 3.0), False, True, False),
    (held, Claim("a", None), True, True, False),  # who asks is answered, and gets nothing
    (held, Claim("z", None), True, True, False),
    (held, Claim("z", 10.0 + SAME_S + 1), False, False, True),  # held for longer by the other
    (held, Claim("a", 10.0 - SAME_S - 1), True, True, False),
    (held, Claim("a", 10.0 + SAME_S - 1), False, False, True),  # as long, as far as can be told: the lower run
    (held, Claim("z", 10.0 + SAME_S - 1), True, True, False),
    (left, Claim("z", None), False, False, True),
    (left, Claim("a", 5.0), False, False, True),
])  # fmt: skip
def test_what_another_says(make, claim: Claim, answers: bool, holds: bool, leaves: bool) -> None:
    name = make()
    assert name.hear(claim, 10.0) is answers
    assert (name.held, name.left) == (holds, leaves)


def test_who_holds_it_says_so_each_second_and_keeps_it_over_a_lost_broker() -> None:
    name = held()
    assert not name.tend(SAY_EVERY_S / 2) and name.tend(SAY_EVERY_S)
    name.lost()
    assert not name.tend(5.0) and name.held
    name.connected(9.0)
    assert name.held and name.tend(9.5) and name.claim(10.0) == Claim("m", 10.0)


def test_who_left_it_looks_again_after_a_minute_of_silence_alone() -> None:
    name = left(now_s=0.0)
    name.hear(Claim("other", 150.0), 50.0)
    assert not name.tend(FREE_AFTER_S + 49)
    assert name.tend(FREE_AFTER_S + 50) and not name.held and not name.left  # asks anew
    assert name.tend(FREE_AFTER_S + 50 + LOOK_S) and name.held


def test_a_broker_that_was_away_is_no_silence_of_the_other() -> None:
    name = left(now_s=0.0)
    name.lost()
    name.connected(1000.0)
    assert not name.tend(1001.0) and name.left


@pytest.mark.parametrize("delay_s", [0.0, 0.3])
@pytest.mark.parametrize("begins", list(itertools.permutations((0.0, 0.2, 7.0))))
def test_three_of_one_name_agree_on_one_and_stay_with_it(begins: tuple[float, ...], delay_s: float) -> None:
    """Simulated in steps of a tenth of a second, messages late by a while: who holds it never changes once it is so."""
    names = [Name(run) for run in "abc"]
    on_the_way: list[tuple[float, Name, Claim]] = []
    history: list[tuple[bool, ...]] = []

    def say(speaker: Name, now_s: float) -> None:
        for other in names:
            on_the_way.append((now_s + delay_s, other, speaker.claim(now_s)))

    for tick in range(1300):
        now_s = tick / 10
        for name, begin_s in zip(names, begins, strict=True):
            if now_s == begin_s:
                name.connected(now_s)
                say(name, now_s)
            elif now_s > begin_s and name.tend(now_s):
                say(name, now_s)
        due = [m for m in on_the_way if m[0] <= now_s]
        on_the_way[:] = [m for m in on_the_way if m[0] > now_s]
        for _, name, claim in due:
            if name.hear(claim, now_s):
                say(name, now_s)
        history.append(tuple(n.held for n in names))
    assert all(sum(h) <= 1 for h in history), "never two at once"
    holders = [h for h in history if any(h)]
    assert set(holders) == {holders[0]} and holders[0].count(True) == 1


def test_two_that_both_hold_it_after_a_broken_network_agree_on_the_older() -> None:
    old, new = held("z", 0.0), held("a", 500.0)
    for one, other in ((old, new), (new, old)):
        other.hear(one.claim(600.0), 600.1)
    assert (old.held, new.held, new.left) == (True, False, True)


@pytest.mark.parametrize("payload", [
    b"", b"1", b"{}", b"[]", b'{"run": 7}', b'{"run": ""}', b'{"run": "' + b"x" * 33 + b'"}',
    b'{"run": "a", "held_s": "b"}', b'{"run": "a", "held_s": 1e999}', b"\xff\xfe", b"[" * 200,
    b'{"run": "a"}' + b" " * 300,
])  # fmt: skip
def test_rubbish_is_no_claim(payload: bytes) -> None:
    assert read_claim(payload) is None


def test_a_claim_is_read_with_more_keys_than_today() -> None:
    assert read_claim(b'{"run": "a1", "held_s": 2.5, "later": true}') == Claim("a1", 2.5)


@pytest.mark.parametrize("apart_s", [0.0, 4.9, 4.98, 5.0, 5.01, 5.02, 5.1, 30.0])
@pytest.mark.parametrize("elder", ["a", "b"])
def test_two_that_hold_it_agree_on_one_and_do_not_answer_each_other_without_end(apart_s: float, elder: str) -> None:
    """Each message takes 20 ms: what the one takes for less than five seconds is more for the other."""
    delay_s, step_s, said = 0.02, 0.01, 0
    names = {run: Name(run) for run in ("a", "b")}
    younger = "b" if elder == "a" else "a"
    under_way: list[tuple[float, str, Claim]] = []
    for run, at_s in ((elder, 100.0 - apart_s), (younger, 100.0)):
        names[run].connected(at_s - LOOK_S)
        assert names[run].tend(at_s) and names[run].held
    for i in range(1000):
        now_s = 100.0 + i * step_s
        due = [one for one in under_way if one[0] <= now_s]
        under_way = [one for one in under_way if one[0] > now_s]
        speaks = [run for _, sender, claim in due for run in names if run != sender and names[run].hear(claim, now_s)]
        for run in [*speaks, *(run for run, name in names.items() if name.tend(now_s))]:
            said += 1
            under_way.append((now_s + delay_s, run, names[run].claim(now_s)))
    assert [names["a"].held, names["b"].held].count(True) == 1
    if apart_s > 5.1:
        assert names[elder].held
    assert said < 80
