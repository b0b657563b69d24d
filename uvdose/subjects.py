"""What a note may be about: a calibration print that is new gets the next number, anything else must be named. Pure."""

from __future__ import annotations

from .model import Refusal
from .notes import Calibration, Doc, Edition, Film, PrintNote, Queue, Verdict, kind_name
from .queueing import BENCH, checked

# How the subject of a kind is told to whoever left it out; of those that are not here it is the sensor's name.
_NUMBERED: dict[type[Doc], str] = {
    Calibration: "its subject is the calibration print's number, or is left out for a new one",
    Verdict: "its subject is the print's number", PrintNote: "its subject is the print's number",
}  # fmt: skip
_NAMED: dict[type[Doc], str] = {Film: "its subject is the film's name", Edition: "its subject is the edition's name"}


def check(note: Doc, subject: str | None) -> None:
    """Raises `Refusal` (code 2) for a note about nothing, or about what its kind cannot be about.

    Without a subject it would get the next number, as a new calibration print does: a verdict would judge a print that
    nobody meant. Of the queue there is one, and it holds what can be started.
    """
    kind = type(note)
    if isinstance(note, Queue):
        if subject != BENCH:
            raise Refusal(f"queue: its subject is {BENCH!r}, there is one queue", 2)
        checked(note.entries)
    elif kind in _NUMBERED:
        new = subject is None and kind is Calibration
        if not new and not (subject and subject.isascii() and subject.isdigit()):
            raise Refusal(f"{kind_name(kind)}: {_NUMBERED[kind]}", 2)
    elif not (subject or "").strip():
        raise Refusal(f"{kind_name(kind)}: {_NAMED.get(kind, 'its subject is the name of the sensor')}", 2)
