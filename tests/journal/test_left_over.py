"""What a killed process left half written is swept away by the next that writes there, and nothing else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from uvdose.journal.copying import part_beside


def gone() -> int:
    """The id of a process that has ended."""
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    return ended.pid


def test_left_overs_of_the_dead_go(tmp_path: Path) -> None:
    dead = gone()
    swept = [f".day.csv.{dead}.part", f".other.csv.{dead}.part", f".day.csv.{dead}.part-journal"]
    mine, other = f".day.csv.{os.getpid()}.part", f".day.pdf.{dead}.part"
    stay = [mine, other, f"day.csv.{dead}.part", ".day.csv.x.part", "day.csv"]
    fresh = f".fresh.csv.{dead}.part"
    for name in (*swept, *stay, fresh):
        tmp_path.joinpath(name).write_text(name)
        if name != fresh:
            os.utime(tmp_path / name, (1_700_000_000, 1_700_000_000))
    part_beside(tmp_path / "new.csv", replace=False)
    assert {path.name for path in tmp_path.iterdir()} == {*stay, fresh}
