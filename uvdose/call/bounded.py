"""Another program, run for so long and no longer: it and all that it started are ended when the time is over."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess

from .outlet import WayFault

_running: set[subprocess.Popen[bytes]] = set()

MOST_OUT = 64 * 1024
GONE_S = 1.0


def run_bounded(words: list[str], given: bytes, limit_s: float) -> tuple[int, bytes, bytes]:
    """Exit code, output and errors of a program. Raises `WayFault` where it cannot be run, or does not end in time."""
    try:
        process = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
        )
    except OSError as err:
        raise WayFault(f"{os.path.basename(words[0])} cannot be run: {err.strerror}") from None
    with process:
        _running.add(process)
        try:
            out, errors = process.communicate(given, limit_s)
        except subprocess.TimeoutExpired:
            raise WayFault(f"{os.path.basename(words[0])} did not end within {limit_s:g} s") from None
        finally:
            _running.discard(process)
            if process.returncode is None:
                _kill(process)
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.wait(GONE_S)
    return process.returncode, out[:MOST_OUT], errors[:MOST_OUT]


def end_all() -> None:
    """End what still runs, when the daemon ends: nobody else would."""
    for process in list(_running):
        _kill(process)


def _kill(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)
