"""The dose clock of a run: it goes on from what the journal says of the last one."""

from __future__ import annotations

import sqlite3

import msgspec

from ..clock import HostClock, next_epoch
from ..model import Refusal
from .store import Store


def begin_epoch(db: sqlite3.Connection, store: Store, pace: float) -> HostClock:
    """The clock, once what ties it to this boot of the host is written down. Raises `Refusal` where it cannot be."""
    last = store.last_epoch()
    epoch = next_epoch(last, *store.last_times(), pace)
    if epoch != last:
        try:
            db.execute("INSERT INTO epoch (epoch) VALUES (?)", (msgspec.json.encode(epoch).decode(),))
        except sqlite3.Error as err:
            raise Refusal(f"the journal cannot be written: {err}; make room on its disk, then start again") from None
    return HostClock(epoch)
