"""`uvdose queue`: shown, added to, taken from, moved, cleared; with a daemon and without one the same."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.ptytalk import PtyTalk

from uvdose.cli.app import INTERRUPTED, REFUSED
from uvdose.config import Home
from uvdose.home import lock
from uvdose.listed import QueueEntry
from uvdose.model import Refusal
from uvdose.queueing import MOST_ENTRIES, at, checked, moved, without

from .conftest import SIMULATED, Daemon, Homed, argv, environment

A, B, C = QueueEntry("a"), QueueEntry("b"), QueueEntry("c")


def _labels(home: Homed) -> list[str]:
    return [entry.get("label", "") for entry in home.told("queue")["entries"]]


@pytest.fixture(params=["daemon", "none"])
def bench(request: pytest.FixtureRequest) -> Homed:
    """A home with the targets blue, brown and one retired; beside a daemon and without one."""
    found: Homed
    if request.param == "daemon":
        found = request.getfixturevalue("daemon")
    else:
        found = request.getfixturevalue("home").write(SIMULATED)
    for name in ("blue", "brown", "old"):
        assert found.call("target", "set", name, "--dose", 2565).code == 0
    assert found.call("target", "retire", "old", "--reason", "no more paper").code == 0
    return found


def test_from_the_first_that_waits_to_none(bench: Homed) -> None:
    assert "nobody waits" in bench.call("queue").out and bench.told("queue") == {"entries": [], "id": 0}
    versions = [0]
    for words in (["blue", "--label", "Ines"], ["brown", "--label", "Karim", "--frame", "north"], ["blue"]):
        told = bench.told("queue", "add", *words)
        versions.append(told["id"])
    assert versions == sorted(set(versions)), "each change is a version of its own"
    assert told["entries"] == [
        {"label": "Ines", "target": "blue"}, {"label": "Karim", "target": "brown", "frame": "north"},
        {"target": "blue"},
    ]  # fmt: skip
    shown = bench.call("queue").out.splitlines()
    assert [line.split() for line in shown[1:]] == [
        ["1", "Ines", "blue", "any"], ["2", "Karim", "brown", "north"], ["3", "-", "blue", "any"],
    ]  # fmt: skip
    assert bench.call("queue", "move", 3, 1).code == 0 and _labels(bench) == ["", "Ines", "Karim"]
    assert bench.call("queue", "move", 1, 3).code == 0 and _labels(bench) == ["Ines", "Karim", ""]
    assert bench.call("queue", "drop", 2).code == 0 and _labels(bench) == ["Ines", ""]
    bench.call("queue", "clear").refused(2, "2 wait", "--yes")
    assert bench.told("queue", "clear", "--yes")["entries"] == [] and bench.call("queue", "clear").code == 0


def test_what_cannot_be_done_is_refused_and_changes_nothing(bench: Homed) -> None:
    assert bench.call("queue", "add", "blue", "--label", "Ines").code == 0
    bench.call("queue", "add", "bleu").refused(4, "no target 'bleu'", "blue")
    bench.call("queue", "add", "old").refused(4, "retired", "no more paper")
    bench.call("queue", "add", "blue", "--label", "x" * 201).refused(2, "label", "200")
    bench.call("queue", "add", "blue", "--frame", "a\nb").refused(2, "frame", "printable")
    for number in (0, 2, 10**12):
        bench.call("queue", "drop", number).refused(4, f"no entry {number}", "its last is 1")
        bench.call("queue", "move", 1, number).refused(4, f"place {number}")
        bench.call("queue", "move", number, 1).refused(4, f"no entry {number}")
    bench.call("queue", "drop", "Ines").refused(2, "N")
    bench.call("queue", "add").refused(2, "TARGET")
    assert _labels(bench) == ["Ines"]


def test_without_a_target_nothing_can_wait(home: Homed) -> None:
    home.call("queue", "add", "blue").refused(4, "no target 'blue'", "target set")
    home.call("queue", "drop", 1).refused(4, "nobody waits")
    assert not (home.folder / "journal.sqlite3").exists()


def test_without_a_daemon_it_is_one_writer_at_a_time(home: Homed) -> None:
    assert home.call("target", "set", "blue", "--dose", 100).code == 0
    with lock(Home(home.folder), "another"):
        home.run("queue", "add", "blue").refused(4, "in use by another", "one writer at a time")
        assert home.run("queue").code == 0
    assert _labels(home) == []


def test_a_daemon_takes_over_what_was_said_without_it(tmp_path: Path, serve: Callable[..., Daemon]) -> None:
    home = Homed(tmp_path / "one").write(SIMULATED)
    assert home.call("target", "set", "blue", "--dose", 100).code == 0
    before = home.told("queue", "add", "blue", "--label", "Ines")
    daemon = serve("one")
    assert daemon.told("queue") == before
    after = daemon.told("queue", "add", "blue", "--label", "Karim")
    assert after["id"] > before["id"]
    daemon.stop()
    assert home.told("queue") == after and home.told("queue", "drop", 1)["entries"] == after["entries"][1:]


def test_clear_asks_and_is_not_for_what_was_not_seen(home: Homed) -> None:
    assert home.call("target", "set", "blue", "--dose", 100).code == 0
    for label in ("Ines", "Karim"):
        assert home.call("queue", "add", "blue", "--label", label).code == 0
    words = argv("queue", "clear", "--home", home.folder)
    with PtyTalk(words, environment()) as talk:
        talk.talk(("take out all 2", "n"))
        assert talk.ends() == INTERRUPTED
    assert _labels(home) == ["Ines", "Karim"]
    with PtyTalk(words, environment()) as talk:
        talk.wait_for("take out all 2")
        assert home.call("queue", "add", "blue", "--label", "Mara").code == 0
        talk.send("y")
        talk.wait_for("changed meanwhile")
        assert talk.ends() == REFUSED
    assert _labels(home) == ["Ines", "Karim", "Mara"]
    with PtyTalk(words, environment()) as talk:
        talk.talk(("take out all 3", "y"))
        talk.wait_for("nobody waits")
        assert talk.ends() == 0
    assert _labels(home) == []


def test_the_list_itself() -> None:
    every = (A, B, A, C)
    assert without(every, A) == (B, A, C) and without(every, A, every, 3) == (A, B, C)
    assert without((B, A, C), B, every, 2) == (A, C), "the same one at another place"
    with pytest.raises(Refusal, match="a is not in the queue any more"):
        without((B, A, C), A, every, 3)  # which of the two has gone is not known
    for number in range(1, 5):
        for to in range(1, 5):
            entry = at(every, number)
            after = moved(every, entry, to, every, number)
            assert sorted(e.label for e in after) == sorted(e.label for e in every) and after[to - 1] == entry
            rest = [*every[: number - 1], *every[number:]]
            assert [*after[: to - 1], *after[to:]] == rest, "the others stay in their order"
    with pytest.raises(Refusal, match="at most"):
        checked((A,) * (MOST_ENTRIES + 1))
    assert checked((A,) * MOST_ENTRIES)
