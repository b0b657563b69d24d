"""The process that reckons the sun's path: `python -m uvdose.sunward`, a task on its input, the path on its output."""

from __future__ import annotations

import sys

import msgspec

from .light.path import sun_path
from .placed import spot_of
from .settings_bench import BenchSettings


class Task(msgspec.Struct, frozen=True):
    """The bench with its place, and the moment, Unix seconds."""

    bench: BenchSettings
    utc_s: float


def main() -> int:
    """Reckon it."""
    task = msgspec.json.decode(sys.stdin.buffer.read(), type=Task)
    sys.stdout.buffer.write(msgspec.json.encode(sun_path(spot_of(task.bench), task.utc_s)))
    sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
