"""Recordings: pace, arrival times, and every way in which a file can be wrong."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from support.sink import Gathered

from uvdose.clock import FixedClock
from uvdose.config import SensorSettings
from uvdose.intake.link import Chunk, LinkState
from uvdose.intake.recording import RecordingLink


def link(path: Path, clock) -> RecordingLink:
    return RecordingLink(SensorSettings("tape", "recording", file=str(path)), clock)


def play(path: Path, clock, gathered: Gathered) -> None:
    playing = link(path, clock)
    playing.start(gathered)
    assert gathered.wait_for(lambda: bool(gathered.states) and not gathered.states[-1].up)
    playing.stop()


def test_lines_come_at_their_own_times_at_pace(tmp_path: Path, host_clock, gathered: Gathered) -> None:
    tape = tmp_path / "tape.txt"
    tape.write_bytes(b"# three lines\n0\t1.5\n\n30\t2.5\r\n60.25\tafter\ttab\n")
    clock = host_clock(100.0)
    before_us, before_s = clock.dose_us(), time.monotonic()
    play(tape, clock, gathered)
    took_s = time.monotonic() - before_s
    assert [c.data for c in gathered.chunks] == [b"1.5\n", b"2.5\r\n", b"after\ttab\n"]
    assert all(not c.whole and c.sensor == "tape" for c in gathered.chunks)
    first = gathered.chunks[0].arrival_us
    assert before_us <= first <= before_us + 10_000_000
    assert [c.arrival_us - first for c in gathered.chunks] == [0, 30_000_000, 60_250_000]
    assert 0.55 < took_s < 3
    assert gathered.states[-1] == LinkState("tape", False, "the recording has ended")
    assert isinstance(gathered.all[-1], LinkState) and isinstance(gathered.all[-2], Chunk)


def test_no_line_comes_before_its_time(tmp_path: Path, gathered: Gathered) -> None:
    tape = tmp_path / "tape.txt"
    tape.write_bytes(b"0\ta\n10\tb\n20\tc\n")
    clock = FixedClock()
    playing = link(tape, clock)
    playing.start(gathered)
    assert gathered.wait_for(lambda: len(gathered.chunks) == 1)
    clock.advance(10)
    assert gathered.wait_for(lambda: len(gathered.chunks) == 2)
    time.sleep(0.4)
    assert gathered.data == b"a\nb\n"
    playing.stop()
    assert gathered.states[-1].up, "a link that is stopped says nothing more"


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (b"0\ta\nnonsense\tb\n", "line 2 'nonsense' is not a number"), (b"0 a\n", "line 1 has no TAB"),
        (b"nan\ta\n", "line 1 nan is not a time"), (b"-1\ta\n", "is not a time"), (b"inf\ta\n", "is not a time"),
        (b"#\n\n5\ta\n4\tb\n", "line 4 its time lies before"), (b"0\t" + b"x" * 70_000 + b"\n", "line 1 is longer"),
    ],
)  # fmt: skip
def test_a_malformed_line_is_named(tmp_path: Path, gathered: Gathered, text: bytes, word: str) -> None:
    tape = tmp_path / "tape.txt"
    tape.write_bytes(text)
    clock = FixedClock()
    playing = link(tape, clock)
    playing.start(gathered)
    clock.advance(100)
    state = gathered.wait_state(False)
    playing.stop()
    assert word in state.why and "TAB" in state.mend and "\n" not in state.why


def test_a_missing_file_and_a_folder(tmp_path: Path, fixed_clock, gathered: Gathered) -> None:
    play(tmp_path / "none.txt", fixed_clock, gathered)
    assert "there is no recording" in gathered.states[-1].why and gathered.states[-1].mend
    play(tmp_path, fixed_clock, gathered)
    assert "cannot be read" in gathered.states[-1].why
    assert not link(tmp_path, fixed_clock).send(b"now\n")


def test_a_relative_file_lies_in_the_home(tmp_path: Path, fixed_clock, gathered: Gathered) -> None:
    (tmp_path / "tape.txt").write_bytes(b"0\tx\n")
    playing = RecordingLink(SensorSettings("tape", "recording", file="tape.txt"), fixed_clock, tmp_path)
    playing.start(gathered)
    gathered.wait_state(False, "has ended")
    playing.stop()
    assert gathered.data == b"x\n"
