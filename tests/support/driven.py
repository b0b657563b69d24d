"""The firmware's core on this machine, driven by a script of lines; see tests/firmware/host/drive.c."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence

from uvdose.decode.native import NativeDecoder, frame_command
from uvdose.model import RegisterReading

from .firmware import host_program


def drive(script: Sequence[str]) -> list[str]:
    """What it says and does, line by line; what goes out on its wire stands behind "> "."""
    done = subprocess.run(
        [str(host_program("drive"))], input="".join(f"{line}\n" for line in script).encode("ascii"),
        capture_output=True, check=False,
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout.decode("latin-1").splitlines()


def wire(line: bytes) -> str:
    """The script's line for bytes on the node's wire."""
    return f"line {line.hex()}"


def order(command: str) -> str:
    """The script's line for a command."""
    return wire(frame_command(command))


def said(lines: Sequence[str]) -> list[str]:
    """What went out on the wire."""
    return [line[2:] for line in lines if line.startswith("> ")]


def answers(lines: Sequence[str]) -> list[str]:
    """The answers among it, without their checksums."""
    return [line.rpartition("*")[0] for line in said(lines) if line.startswith(("ok ", "err "))]


def readings(lines: Sequence[str]) -> list[RegisterReading]:
    """The readings among it."""
    found = NativeDecoder().feed("".join(f"{line}\n" for line in said(lines)).encode("latin-1"))
    return [item for item in found if isinstance(item, RegisterReading)]
