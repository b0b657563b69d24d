"""What sounds, when, and what ends it; the figures are those of firmware_notes/wire-format.md."""

from calls import CALL_EACH_MS, CALL_FOR_MS, CALL_MS
from common import ask, make, readings, run_to


def case_calls_by_itself_for_half_an_hour():
    """10 s in each 30 s, for 30 min at most, from the first sample that reaches the value (wire-format.md)."""
    node = make()
    node.sample(10, False, 0)
    assert ask(node, "arm 1 50000 4", 0)[0] == "ok arm 1 50000 4"
    assert node.flags() == 2
    assert ask(node, "slot 1", 0)[0] == "ok slot 1 50000 4 -"
    stretches = run_to(node, 10, 5000 + 31 * 60_000)
    assert stretches[0] == (5000, 15000)
    assert stretches == [(a, a + 10_000) for a in range(5000, 5000 + 30 * 60_000, 30_000)]
    assert node.flags() == 4
    assert ask(node, "slot 1", node._now_ms)[0] == "ok slot 1 50000 4 5000"
    assert ask(node, "disarm 1", node._now_ms)[0] == "ok disarm" and node.flags() == 0
    assert (CALL_MS, CALL_EACH_MS, CALL_FOR_MS) == (10_000, 30_000, 1_800_000)


def case_what_ends_a_call():
    for how in ("quiet", "press", "disarm 0"):
        node = make()
        node.sample(10, False, 0)
        ask(node, "arm 0 0 4", 0)
        assert node.flags() == 5 and node.calls.loud(0), "at once where it is reached already"
        node.press(100) if how == "press" else ask(node, how, 100)
        assert run_to(node, 110, 60_000, step=100) == [], how
        assert node.flags() == (0 if how == "disarm 0" else 4), how


def case_a_press_is_told_at_once():
    node = make(rate_milli=100)
    node.sample(1, False, 0)
    readings(node)
    node.press(123)
    (found,) = readings(node)
    assert (found["presses"], found["uptime"], found["register"]) == (1, 123, 123)
    ask(node, "buzz 2 60", 200)
    node.press(300)
    assert node.calls.sounding(301) == 2, "what the computer sounds is for the computer to end"


def case_two_calls_at_once():
    """The one that was reached last sounds; when it is disarmed the other one still calls."""
    node = make()
    node.sample(10, False, 0)
    ask(node, "arm 0 10000 3", 0)
    ask(node, "arm 1 20000 4", 0)
    run_to(node, 10, 1500)
    assert node.calls.sounding(1500) == 3 and node.flags() == 7
    run_to(node, 1510, 2500)
    assert node.calls.sounding(2500) == 4 and node.flags() == 5
    ask(node, "disarm 1", 2500)
    assert node.calls.sounding(2500) == 3
    ask(node, "buzz 6 0.5", 2600)
    assert node.calls.sounding(2700) == 6 and node.calls.sounding(3100) == 3


def case_commands_that_come_twice():
    """QoS 1 may deliver again, and late: what was quieted does not call again, a phase of lines is not begun anew."""
    once, twice = make(), make()
    for node in (once, twice):
        node.sample(10, False, 0)
        again = ("arm 0 1000 4", "arm 1 900000 3", "disarm 2", "lease 5", "rate 2")
        for text in again:
            for _ in range(1 if node is once else 2):
                ask(node, text, 50)
        run_to(node, 60, 2990)
        ask(node, "quiet", 3000)
        if node is twice:
            ask(node, "quiet", 3000)
            for text in again:
                ask(node, text, 3000)
        node.out.clear()
        node.sounds = run_to(node, 3010, 40_000)
        node.sounds += run_to(node, 40_010, 95_000)
    assert once.sounds == twice.sounds == [(90_000, None)]
    assert once.out == twice.out and once.out and once.register() == twice.register()


def case_the_chirp_of_a_lease():
    """0.1 s each 10 s from the moment at which no proved command came for the lease, only while a slot waits."""
    node = make()
    node.sample(1, False, 0)
    ask(node, "lease 20", 0)
    ask(node, "arm 0 1000000 4", 1000)
    loud = []
    for ms in range(1010, 60_000, 10):
        node.sample(1, False, ms)
        if node.calls.loud(ms):
            loud.append(ms)
            assert not node.flags() & 1
    wanted = [a + b for a in (21_000, 31_000, 41_000, 51_000) for b in range(0, 100, 10)]
    assert loud == wanted, loud[:20]
    node.command(b"who*0000\n", 60_000)  # no proof: nobody is there
    assert node.calls.loud(61_000)
    ask(node, "who", 60_000)
    assert not node.calls.loud(61_000)
    ask(node, "disarm 0", 60_000)
    assert not node.calls.loud(90_000)
