"""A move of a strip's card belongs to the call that it follows, also where the hand is slow."""

from __future__ import annotations

import sqlite3
from types import SimpleNamespace
from typing import Any, cast

import pytest

from uvdose.exposure.record import ActRecord
from uvdose.exposure.states import Act
from uvdose.review.cards import card_acts

CALLS_S = {1: 100, 2: 200, 3: 300}


def _told(*moved_s: float) -> dict[int, float]:
    """The calls that moves at these seconds answer."""
    db = sqlite3.connect(":memory:")
    db.execute("CREATE TABLE event (t_us INTEGER, event TEXT, exposure INTEGER, data TEXT)")
    for number, at_s in CALLS_S.items():
        db.execute("INSERT INTO event VALUES (?, 'step', 1, ?)", (at_s * 1_000_000, f'{{"key":"step:{number}"}}'))
    acts = [ActRecord(i, Act.CARD, int(at_s * 1e6), cast(Any, None)) for i, at_s in enumerate(moved_s, 1)]
    store = SimpleNamespace(db=db, acts=lambda _: acts)
    kept = SimpleNamespace(plan=SimpleNamespace(id=1))
    return {n: record.when_us / 1e6 for n, record in card_acts(cast(Any, store), cast(Any, kept)).items()}


@pytest.mark.parametrize(
    ("moved_s", "answered"),
    [
        ((102, 203, 301), {1: 102, 2: 203, 3: 301}),
        ((102, 301), {1: 102, 3: 301}),
        ((170, 203), {1: 170, 2: 203}),  # slow at the first call, and not taken for the second
        ((98, 199), {1: 98, 2: 199}),  # a little early
        ((103, 110), {1: 110}),
        ((103, 170), {1: 170}),  # said again much later, and not half a minute early for the next
    ],
)
def test_a_slow_hand_is_not_taken_for_the_next_call(moved_s: tuple[float, ...], answered: dict[int, float]) -> None:
    assert _told(*moved_s) == answered
