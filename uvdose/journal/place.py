"""Whether the journal's file is still the one that was opened.

A file that is removed or replaced under its writer can be written for ever, and nothing of it is kept. SQLite does not
notice, so that its writer asks here before each commit.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

ENDS = ("", "-wal")


class Place:
    """A journal and its log by what they were when they were first seen: device and number of the file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: dict[str, tuple[int, int]] = {}
        self.fault()

    def fault(self) -> str:
        """What has become of the file, as a line; "" when nothing has."""
        for end in ENDS:
            file = self._path.with_name(self._path.name + end)
            try:
                stat = os.stat(file)
            except OSError:
                found = None
            else:
                found = (stat.st_dev, stat.st_ino)
            known = self._known.get(end)
            if known is None and found is not None:
                self._known[end] = found
            elif known is not None and found != known:
                what = "was removed" if found is None else "was replaced by another"
                return (
                    f"{file} {what} while the daemon writes it: put it back, or note what you need from"
                    " `uvdose status`, stop the daemon and start it again"
                )
        return ""

    def refuse(self) -> None:
        """Raises sqlite3.OperationalError, as for any disk that fails, while the file is not there."""
        if line := self.fault():
            raise sqlite3.OperationalError(line)
