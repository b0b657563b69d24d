"""The process that reckons the sun's path: `python -m uvdose.sunward`, a task on its input, the path on its output."""

from __future__ import annotations

import sys

import msgspec

from .apart import answer
from .light.path import sun_path
from .placed import spot_of
from .settings_bench import BenchSettings


class Task(msgspec.Struct, frozen=True):
    """The bench with its place, and the moment, Unix seconds."""

    bench: BenchSettings
    utc_s: float


if __name__ == "__main__":
    sys.exit(answer(Task, lambda task: sun_path(spot_of(task.bench), task.utc_s)))
