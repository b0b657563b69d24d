"""Who is next, when several change it at once: no word is lost, and nobody's turn is taken twice."""

from __future__ import annotations

import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from support.bench import Refused, RunningBench

from uvdose.cli.keeping import change_note
from uvdose.listed import QueueEntry
from uvdose.model import Refusal
from uvdose.notes import Queue, Verdict
from uvdose.queueing import BENCH, without

INES, KARIM = {"label": "Ines", "target": "blue"}, {"label": "Karim", "target": "blue", "frame": "2"}


def _say(bench: RunningBench, entries: list[dict[str, str]], based_on: int | None = None) -> dict[str, Any]:
    body = {"kind": "queue", "subject": BENCH, "data": {"entries": entries}, "based_on": based_on}
    taken: dict[str, Any] = bench.ask("POST", "/notes", body)
    return taken


def _labels(bench: RunningBench) -> list[str]:
    return [e.get("label", "") for e in bench.ask("GET", "/queue")["entries"]]


def test_a_change_based_on_an_older_version_is_refused_and_changes_nothing(bench: RunningBench) -> None:
    assert bench.ask("GET", "/queue") == {"entries": [], "id": 0}
    first = _say(bench, [INES], 0)["id"]
    assert bench.ask("GET", "/queue") == {"entries": [INES], "id": first}
    for old in (0, first + 1, -1):
        with pytest.raises(Refused, match="changed meanwhile") as refused:
            _say(bench, [KARIM], old)
        assert refused.value.status == 409 and "\n" not in refused.value.line
    assert _labels(bench) == ["Ines"]
    second = _say(bench, [INES, KARIM], first)["id"]
    assert second > first and _labels(bench) == ["Ines", "Karim"]
    _say(bench, [KARIM])  # without a word on what it is based on it holds, as before
    assert _labels(bench) == ["Karim"]
    newest = bench.ask("GET", "/queue")["id"]
    bench.stop()
    bench.start()
    assert bench.ask("GET", "/queue") == {"entries": [KARIM], "id": newest}
    with pytest.raises(Refused, match="changed meanwhile"):
        _say(bench, [], second)
    assert _say(bench, [], newest)["id"] > newest


def test_a_note_of_nests_in_nests_is_refused_as_other_rubbish_is(bench: RunningBench) -> None:
    deep = '{"a":' * 4000 + "1" + "}" * 4000
    request = urllib.request.Request(
        f"{bench.url}/api/v1/notes", method="POST", data=f'{{"kind": "queue", "data": {deep}}}'.encode(),
        headers={"Authorization": f"Bearer {bench.token}", "Content-Type": "application/json"},
    )
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=10)
    assert refused.value.code == 400


def test_of_many_that_change_one_version_at_once_one_is_taken(bench: RunningBench) -> None:
    def add(i: int) -> bool:
        try:
            _say(bench, [{"label": f"sheet {i}"}], 0)
        except Refused as err:
            assert err.status == 409
            return False
        return True

    with ThreadPoolExecutor(8) as many:
        taken = list(many.map(add, range(8)))
    assert taken.count(True) == 1 and _labels(bench) == [f"sheet {taken.index(True)}"]


def test_commands_that_add_at_once_all_get_their_place(bench: RunningBench) -> None:
    """Each that was refused reads anew and says it again."""
    def add(i: int) -> None:
        entry = QueueEntry(f"sheet {i}")
        change_note(bench.home, Queue, BENCH, lambda _, now: Queue((*(now.entries if now else ()), entry)))

    with ThreadPoolExecutor(4) as many:
        list(many.map(add, range(4)))
    assert sorted(_labels(bench)) == [f"sheet {i}" for i in range(4)]


def test_a_command_between_whose_reading_and_writing_a_phone_speaks(bench: RunningBench) -> None:
    """What still makes sense is done on the new list; what does not is refused, and nothing is lost."""
    ines, karim, mara = QueueEntry("Ines"), QueueEntry("Karim"), QueueEntry("Mara")
    rounds: list[tuple[QueueEntry, ...]] = []

    def drop_karim(_: int, now: Queue | None) -> Queue:
        assert now is not None
        rounds.append(now.entries)
        if len(rounds) == 1:  # a phone is quicker
            _say(bench, [{"label": e.label} for e in meanwhile])
        return Queue(without(now.entries, karim, known))

    for meanwhile, known, left in (
        ((mara, ines, karim), (ines, karim), ["Mara", "Ines"]), ((ines,), (ines, karim), None),
        ((karim, ines), (karim, ines, karim), None),
    ):
        rounds.clear()
        _say(bench, [{"label": e.label} for e in known])
        if left is None:
            with pytest.raises(Refusal, match="Karim is not in the queue any more"):
                change_note(bench.home, Queue, BENCH, drop_karim)
            assert _labels(bench) == [e.label for e in meanwhile]
        else:
            change_note(bench.home, Queue, BENCH, drop_karim)
            assert _labels(bench) == left
        assert rounds[:2] == [known, meanwhile]


def test_a_verdict_of_two_persons_keeps_the_words_of_both(bench: RunningBench) -> None:
    tries: list[Verdict | None] = []

    def tone(_: int, before: Verdict | None) -> Verdict:
        tries.append(before)
        if len(tries) == 1:
            bench.ask("POST", "/notes", {"kind": "verdict", "subject": "7", "data": {"highlights": "blank"}})
        return Verdict("dark", highlights=before.highlights if before else None)

    change_note(bench.home, Verdict, "7", tone)
    assert tries == [None, Verdict(highlights="blank")]
    assert bench.store().notes(Verdict)["7"] == Verdict("dark", highlights="blank")


def test_an_entry_leaves_with_its_start_and_is_begun_once(bench: RunningBench) -> None:
    bench.target("blue", 90000)
    _say(bench, [INES, KARIM])
    number = bench.expose("blue", label="Ines", queued=INES)
    assert _labels(bench) == ["Karim"]
    with pytest.raises(Refused, match="Ines, blue is not in the queue any more") as refused:
        bench.expose("blue", label="Ines", frame="3", queued=INES)
    assert refused.value.status == 409 and len(bench.ask("GET", "/status")["exposures"]) == 1
    with pytest.raises(Refused):  # the frame is in use: nothing has begun, and Karim waits on
        bench.expose("blue", frame="1", queued=KARIM)
    assert _labels(bench) == ["Karim"]
    bench.act(number, "hold")
    bench.act(number, "undo")
    assert _labels(bench) == ["Karim"]  # it was the hold that was taken back
    bench.act(number, "undo")
    assert bench.exposure(number)["state"] == "void" and _labels(bench) == ["Ines", "Karim"]
    bench.act(number, "undo")
    assert bench.exposure(number)["state"] != "void" and _labels(bench) == ["Karim"]
    bench.expose("blue", frame="2", queued=KARIM, count_in_s=60)
    assert _labels(bench) == []
    bench.act(2, "finish")  # cancelled before its beat
    assert bench.exposure(2)["state"] == "void" and _labels(bench) == ["Karim"]


def test_what_could_not_be_started_does_not_wait_either(bench: RunningBench) -> None:
    for wrong in ({"label": "x" * 201}, {"frame": "x" * 201}):
        with pytest.raises(Refused, match="at most 200") as refused:
            _say(bench, [wrong])
        assert refused.value.status == 400
    assert _labels(bench) == []
