"""Who is next at the bench: the list and how it changes. Pure; a list is never changed in place."""

from __future__ import annotations

from .listed import QueueEntry
from .model import Refusal

BENCH = "bench"
"""The subject of the one queue that a bench has."""
MOST_ENTRIES = 200
MAX_TEXT = 200  # as a start takes a label and a frame

Entries = tuple[QueueEntry, ...]


def checked(entries: Entries) -> Entries:
    """Entries that can be started as they stand. Raises `Refusal` (code 2)."""
    if len(entries) > MOST_ENTRIES:
        raise Refusal(f"queue: at most {MOST_ENTRIES} prints can wait", 2)
    for entry in entries:
        for what, text in (("label", entry.label), ("frame", entry.frame or "")):
            if len(text) > MAX_TEXT or not text.isprintable():
                raise Refusal(f"queue: {what}: give at most {MAX_TEXT} printable characters", 2)
    return entries


def words(entry: QueueEntry) -> str:
    """An entry as one reads it."""
    parts = (entry.label, entry.target or "", f"frame {entry.frame}" if entry.frame else "")
    return ", ".join(filter(None, parts)) or "a print without a name"


def at(entries: Entries, number: int) -> QueueEntry:
    """The entry with a number, from 1. Raises `Refusal`."""
    if not 1 <= number <= len(entries):
        waits = f"its last is {len(entries)}" if entries else "nobody waits"
        raise Refusal(f"the queue has no entry {number}: {waits}; `uvdose queue` shows it")
    return entries[number - 1]


def without(entries: Entries, entry: QueueEntry, known: Entries = (), number: int = 0) -> Entries:
    """Without an entry: the one with this number if it is the same, else the first that is. Raises `Refusal`.

    known: where it was seen. Of two that are the same one may have gone meanwhile: the other is not taken for it.
    """
    if entries.count(entry) < max(1, known.count(entry)):
        raise Refusal(f"{words(entry)} is not in the queue any more: look at it again")
    place = number - 1 if 1 <= number <= len(entries) and entries[number - 1] == entry else entries.index(entry)
    return entries[:place] + entries[place + 1 :]


def moved(entries: Entries, entry: QueueEntry, to: int, known: Entries = (), number: int = 0) -> Entries:
    """With an entry at another place, from 1; the rest as for `without`. Raises `Refusal`."""
    rest = without(entries, entry, known, number)
    if not 1 <= to <= len(entries):
        raise Refusal(f"place {to}: the queue has places 1 to {len(entries)}")
    return (*rest[: to - 1], entry, *rest[to - 1 :])
