"""What was noted of a print, as a day tells it."""

from __future__ import annotations

from uvdose.notes import MAX_TEXT, PrintNote
from uvdose.review.print_text import MOST_NOTED, noted_told


def test_the_end_of_a_long_note_is_cut() -> None:
    told = noted_told(3, PrintNote(wash="20 min", text="x" * MAX_TEXT))
    assert told.startswith("noted: ") and "wash 20 min" in told and told.endswith("…")
    assert len(told) <= len("noted: ") + MOST_NOTED
    assert noted_told(3, PrintNote()) == noted_told(3, None) == ""
