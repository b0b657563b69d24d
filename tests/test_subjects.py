"""What a note may be about: nothing is judged or noted under a number that nobody said."""

from __future__ import annotations

import pytest

from uvdose.listed import QueueEntry
from uvdose.model import Refusal
from uvdose.notes import (
    KINDS,
    Bed,
    Calibration,
    Check,
    Doc,
    Edition,
    Film,
    Layer,
    Levelled,
    PrintNote,
    Queue,
    ScaleTaken,
    TabletPlan,
    Verdict,
    ZeroTaken,
)  # fmt: skip
from uvdose.subjects import check

NOTES: dict[str, Doc] = {
    "calibration": Calibration(TabletPlan(500.0, (0.05, 0.2), "T21"), "mJ/cm2"),
    "verdict": Verdict("dark", 0.3), "print": PrintNote(wash="long"), "film": Film(text="clear"),
    "edition": Edition(4, (Layer("blue", 1),)), "queue": Queue((QueueEntry("Ines"),)),
    "zero": ZeroTaken(1.0, 0.1, 0.2, 30, 10.0, 0.0, "V", 0.0, 0.0), "check": Check(()),
    "scale": ScaleTaken(0.1, 0.09, 0.11, 0.05, "V", 60.0, 6, 0.01),
    "level": Levelled(2.0, 1.0, 3.0, 0.02, 0.001, True, 1.5, 30.0), "bed": Bed(((1.0, 1.0),), 1.0, 1.0, 0.0, 0.0),
}  # fmt: skip
NUMBERED = ("calibration", "verdict", "print")


def test_every_kind_is_tried_here() -> None:
    assert {kind: type(note) for kind, note in NOTES.items()} == KINDS


@pytest.mark.parametrize("kind", NOTES)
@pytest.mark.parametrize("subject", [None, "", " "])
def test_a_note_about_nothing_is_refused_but_a_new_calibration_print(kind: str, subject: str | None) -> None:
    if (kind, subject) == ("calibration", None):
        check(NOTES[kind], subject)
        return
    with pytest.raises(Refusal, match=f"^{kind}: its subject is ") as err:
        check(NOTES[kind], subject)
    assert err.value.code == 2


@pytest.mark.parametrize("kind", NOTES)
def test_each_takes_its_own(kind: str) -> None:
    own = "12" if kind in NUMBERED else "bench" if kind == "queue" else "sill"
    check(NOTES[kind], own)
    if kind in NUMBERED or kind == "queue":
        for other in ("fern", "\u00b2", "-1", "1.0"):
            with pytest.raises(Refusal):
                check(NOTES[kind], other)
