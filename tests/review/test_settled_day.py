"""A settled print of the day is shown by its acts and its document: the same, to the last bit, as counted anew."""

from __future__ import annotations

import random
from collections.abc import Sequence
from concurrent.futures import Future
from types import SimpleNamespace
from typing import Any, cast

import msgspec
import pytest

from uvdose.asked import MoveRequest, ShadeRequest, When
from uvdose.exposure.states import ENDED, Act, State
from uvdose.journal import replay
from uvdose.journal.store import Store
from uvdose.journal.writer import Statement
from uvdose.model import Refusal
from uvdose.review import gather as gathering
from uvdose.review.day import Print
from uvdose.review.gather import gather
from uvdose.service.mending import Mender
from uvdose.stamps import day_bounds

from .conftest import BLUE, Bindery

DATE = "2026-06-21"
PLAIN = msgspec.structs.replace(BLUE, name="brown", version=1, dose=40.0, unit="V.s")
KINDS = ("hold", "resume", "finish", "again", "undo", "move hold", "move finish", "move start", "shade")
RECOUNTED = {"eta_s", "low_stops", "high_stops", "reciprocity_stops"}  # told by the daemon alone, or by both from doses


def mender(b: Bindery) -> Mender:
    """Repairs as the daemon makes them, each committed at once."""

    def flush_with(statements: Sequence[Statement]) -> Future[None]:
        b._commit([*b.recorder.flush(), *statements])
        done: Future[None] = Future()
        done.set_result(None)
        return done

    core = SimpleNamespace(
        bench=b.bench, clock=b.clock, recorder=b.recorder, trouble="", settle=b.settle, flush_with=flush_with,
        label=lambda t_us: b.clock.wall_us() - (b.clock.dose_us() - t_us),
    )
    return Mender(cast(Any, core), b.store)


def do(b: Bindery, number: int, drawn: random.Random) -> str:
    """One act or repair, whatever the print's state lets be done; what it was."""
    repairs, now_us = mender(b), b.clock.dose_us()
    ago = When(drawn.uniform(0.1, 6.0), None)
    what = drawn.choice(KINDS)
    try:
        if what == "undo":
            b.settle(repairs.undo(number, now_us))
        elif what.startswith("move"):
            b.settle(repairs.move(number, MoveRequest(what[5:], ago), now_us))
        elif what == "shade":
            b.settle(repairs.shade(number, ShadeRequest(When(9.0, None), ago), now_us))
        else:
            b.act(number, Act(what))
    except Refusal:
        return ""
    return what


def seeded(b: Bindery, seed: int) -> set[str]:
    """Prints on two sensors with every kind of act and repair, all ended and settled; which kinds there were."""
    drawn = random.Random(seed)
    done: set[str] = set()
    b.light(30, 400, 0.8)
    numbers = [b.start(t, s, f"{s} {k}") for k in range(3) for t, s in ((BLUE, "sill"), (PLAIN, "roof"))]
    for _ in range(18):
        for number in numbers:
            for _ in range(drawn.randint(0, 2)):
                done.add(do(b, number, drawn))
        b.light(drawn.randint(1, 12), drawn.randint(100, 1000), drawn.uniform(0.1, 1.2))
        if drawn.random() < 0.3:
            b.light(drawn.choice([14, 75]), 300, silent=True)
    for number in numbers:
        kept = b.store.exposure(number)
        if kept.state not in ENDED:
            b.act(number, Act.FINISH)
    b.light(70, 350, 0.6)
    return done - {""}


@pytest.mark.parametrize("seed", range(5))
def test_as_counted_anew(bindery: Bindery, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    kinds = seeded(bindery, seed)
    assert {"hold", "resume", "finish", "again", "undo", "shade"} <= kinds
    assert any(kind.startswith("move") for kind in kinds)
    settled = bindery.store.between(*day_bounds(DATE))
    assert len(settled) == 6 and all(kept.settled for kept in settled)
    anew = [gathering._lain(bindery.store, msgspec.structs.replace(kept, settled=False)).print for kept in settled]

    def never(store: Store, kept: object) -> replay.Counted:
        raise AssertionError("a settled print was counted anew")

    monkeypatch.setattr(gathering, "count_anew", never)
    shown = [gathering._lain(bindery.store, kept).print for kept in settled]
    for a, b in zip(anew, shown, strict=True):
        assert plain(a) == plain(b)
    assert any(p.held_s for p in shown) and any(len(p.in_light) > 1 for p in shown)


def plain(p: Print) -> dict[str, Any]:
    """Everything of a print but what only its document can tell."""
    told: dict[str, Any] = msgspec.to_builtins(p)
    for key in RECOUNTED:
        told["document"].pop(key)
    return told


def test_one_that_is_not_settled_is_counted(printed: Bindery) -> None:
    held = gather(printed.store, DATE).prints[1]
    assert held.document.state == State.COUNTING and held.lit_s == 40
    printed.light(5, 400, 1.0)
    assert gather(printed.store, DATE).prints[1].lit_s == 45
