"""Runs: lines of a node that came together, taken in as one where none of them tells or decides anything. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..model import RegisterRun
from .channel import Channel
from .outcome import Outcome
from .states import State
from .telling import tell_changes

if TYPE_CHECKING:
    from .bench import Bench


def take_run(bench: Bench, channel: Channel, run: RegisterRun, arrival_us: int, out: Outcome) -> None:
    """Take in lines that arrived together: it comes to what they come to one by one, and to the same bits."""
    for lines in (0, 1, len(run)):  # after the first line a new boot, and a print that has ended, are settled
        for line in run.part(0, lines).readings():
            bench.line(channel, line, arrival_us, out)
        run = run.part(lines)
        if not len(run) or _as_one(bench, channel, run, arrival_us, out):
            return


def _as_one(bench: Bench, channel: Channel, run: RegisterRun, arrival_us: int, out: Outcome) -> bool:
    found = channel.go_together(run, arrival_us)
    concerned = [e for e in bench.concerned(channel) if e.state is not State.WAITING or e.keeper is not None]
    if found is None or any(not e.takes_whole(found.segment) or e.decides_on(found.segment) for e in concerned):
        return False
    tell_changes(channel, channel.add_together(found, arrival_us), arrival_us, out)
    out.readings.append((channel.name, found.t_us, run))
    for exposure in concerned:
        exposure.add(found.segment, bench.snap_us)
    return True
