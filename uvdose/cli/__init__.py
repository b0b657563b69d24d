"""The commands. Thin: each asks the daemon, or reads the journal, and prints what comes back."""

from __future__ import annotations

import sys


def main() -> int:
    """The entry point of `uvdose`; returns the exit code."""
    from .app import run

    return run(sys.argv[1:])
