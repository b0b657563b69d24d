"""Serial intake over a real pty, flooded by a process of its own; and the same in memory.

Ours: read in chunks, decode, add up with one exposure open, pack for the journal. References: the loop that a person
would write with `readline`, and a bare chunked loop in plain Python that does no more than check and convert.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import tempfile
import time
import tty
from binascii import crc_hqx
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import serial

from uvdose.decode.native import NativeDecoder
from uvdose.exposure.bench import Bench
from uvdose.intake.serial_port import BURST_BYTES, SerialLink
from uvdose.journal.recorder import Recorder

from .common import Row, peer, row, seconds_of, side_by_side
from .pipeline import NAME, NATIVE, Journal, lit_bench, lit_core, native_line, plug, register_readings

STEP_MS = 100
CHUNK = 4096
MOST_IN_MEMORY = 30_000
FLUSH_S = 1.0


def serial_rows(quick: bool) -> list[Row]:
    """Lines a second over a pty and in memory."""
    count, few, rounds = (20_000, 1_000, 3) if quick else (150_000, 6_000, 7)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lines = [native_line(r) for r in register_readings(count, STEP_MS)]
        file = folder / "lines"
        file.write_bytes(b"".join(lines))
        return [*_pty(folder, file, lines, few, rounds), *_memory(folder, lines[:MOST_IN_MEMORY], rounds)]


def _pty(folder: Path, file: Path, lines: list[bytes], few: int, rounds: int) -> list[Row]:
    number = iter(range(10_000))

    def over_pty(consume: Callable[[str, int], float], count: int) -> float:
        with flooded(file, sum(map(len, lines[:count]))) as path:
            return count / consume(path, count)

    def journal(path: str, count: int) -> float:
        with tempfile.TemporaryDirectory(dir=folder) as home:
            return asyncio.run(_whole(path, count, Path(home)))

    recorder = Journal(_sub(folder, next(number)), NATIVE).recorder
    one, whole, bare, by_line, raw = side_by_side(
        rounds,
        lambda: over_pty(lambda path, n: _one_thread(path, n, recorder), len(lines)),
        lambda: over_pty(journal, len(lines)),
        lambda: over_pty(_bare, len(lines)),
        lambda: over_pty(_readline, few),
        lambda: over_pty(_raw, len(lines)),
    )
    size = sum(map(len, lines)) / len(lines)
    alone = f"reading alone gives {sorted(raw)[len(raw) // 2]:,.0f} lines/s of {size:.0f} bytes, so the writer keeps up"
    return [
        row("serial: pipeline vs readline loop", "lines/s", one, by_line,
            note=f"one thread, without the compression that is the journal's thread's; {alone}"),
        row("serial: pipeline vs bare chunks", "lines/s", one, bare, note="bare: split, checksum, whole numbers"),
        row("serial: link, loop, journal vs readline", "lines/s", whole, by_line,
            note="reader's thread, event loop and journal on disk as in the daemon"),
        row("serial: link, loop, journal vs bare", "lines/s", whole, bare, note="as above"),
    ]  # fmt: skip


def _memory(folder: Path, lines: list[bytes], rounds: int) -> list[Row]:
    data = b"".join(lines)
    chunks = [data[i : i + CHUNK] for i in range(0, len(data), CHUNK)]
    ends_us = [1_000_000 + int((i + 1) * CHUNK / len(data) * len(lines) * STEP_MS * 1000) for i in range(len(chunks))]
    recorder = Journal(_sub(folder, 1_000_000), NATIVE).recorder

    def bare() -> None:
        rest = b""
        sums = _Sums()
        for chunk in chunks:
            *whole, rest = (rest + chunk).split(b"\n")
            sums.take(whole)

    def decode() -> None:
        decoder = NativeDecoder(runs=True)
        for chunk in chunks:
            decoder.feed(chunk)

    def dose(frames: int) -> None:
        decoder, bench = NativeDecoder(runs=True), lit_bench(NATIVE, frames=frames)
        for chunk, end_us in zip(chunks, ends_us, strict=True):
            bench.take(NAME, decoder.feed(chunk), end_us)

    def packed() -> None:
        decoder, bench = NativeDecoder(runs=True), lit_bench(NATIVE)
        for chunk, end_us in zip(chunks, ends_us, strict=True):
            recorder.keep_readings(bench.take(NAME, decoder.feed(chunk), end_us).readings)
        recorder.flush()

    def single() -> None:
        decoder, bench = NativeDecoder(runs=True), lit_bench(NATIVE)
        for i, line in enumerate(lines):
            recorder.keep_readings(bench.take(NAME, decoder.feed(line), (i + 1) * STEP_MS * 1000).readings)
        recorder.flush()

    runs = [bare, decode, lambda: dose(1), lambda: dose(8), packed, single]
    bare_s, decode_s, dose_s, dose8_s, packed_s, single_s = (
        [len(lines) / s for s in kept] for kept in side_by_side(rounds, *(_timed(run) for run in runs))
    )
    return [
        row("memory: decode vs bare decode", "lines/s", decode_s, bare_s),
        row("memory: decode + dose vs bare decode", "lines/s", dose_s, bare_s, note="one exposure open"),
        row("memory: decode + dose, 8 exposures", "lines/s", dose8_s, bare_s, note="eight frames under one sensor"),
        row("memory: decode + dose + pack", "lines/s", packed_s, bare_s,
            note="flat for the journal, not compressed nor written"),
        row("memory: the same, line by line", "lines/s", single_s, bare_s, note="each line in a chunk of its own"),
    ]


def _timed(run: Callable[[], object]) -> Callable[[], float]:
    return lambda: seconds_of(run)


def _sub(folder: Path, number: int) -> Path:
    made = folder / f"journal{number}"
    made.mkdir()
    return made


@contextlib.contextmanager
def flooded(file: Path, size: int) -> Iterator[str]:
    """The path of a pty that a process floods with the head of a file once something is written to it."""
    master, slave = os.openpty()
    tty.setraw(slave)
    try:
        with peer("flood", master, file, size, fds=(master,)):
            yield os.ttyname(slave)
    finally:
        os.close(master)
        os.close(slave)


# the loops ------------------------------------------------------------------------------------------------------


def _open(path: str) -> serial.Serial:
    port = serial.Serial(path, timeout=0.2)
    port.write(b"go\n")
    return port


def _readline(path: str, count: int) -> float:
    """What a person writes: a line, a float, the clock, the trapezoid rule."""
    port = _open(path)
    begin = time.perf_counter()
    dose, before, then = 0.0, None, 0.0
    for _ in range(count):
        fields = port.readline().decode().split(",")
        value, now = float(fields[4]), time.monotonic()
        if before is not None:
            dose += (value + before) / 2 * (now - then)
        before, then = value, now
    seconds = time.perf_counter() - begin
    port.close()
    return seconds


class _Sums:
    """The bare reference: checksum and conversion of every field, and the dose as a difference of registers."""

    def __init__(self) -> None:
        self.count = 0
        self.first = self.last = 0

    def take(self, lines: list[bytes]) -> None:
        for line in lines:
            body, _, crc = line.rpartition(b"*")
            if crc_hqx(body, 0xFFFF) != int(crc, 16):
                continue
            _, boot, seq, uptime, level, register, sat, presses, flags = body.split(b",")
            values = (
                int(boot, 16), int(seq), int(uptime), float(level), int(register), int(sat), int(presses),
                int(flags, 16),
            )  # fmt: skip
            self.last = values[4]
            if not self.count:
                self.first = self.last
            self.count += 1


def _bare(path: str, count: int) -> float:
    port = _open(path)
    begin = time.perf_counter()
    rest = b""
    sums = _Sums()
    while sums.count < count:
        *whole, rest = (rest + port.read(port.in_waiting or 1)).split(b"\n")
        sums.take(whole)
    seconds = time.perf_counter() - begin
    port.close()
    return seconds


def _raw(path: str, count: int) -> float:
    """Read and count, nothing else: how fast the writer and the pty are."""
    port = _open(path)
    begin = time.perf_counter()
    seen = 0
    while seen < count:
        seen += port.read(port.in_waiting or 1).count(b"\n")
    seconds = time.perf_counter() - begin
    port.close()
    return seconds


def _one_thread(path: str, count: int, recorder: Recorder) -> float:
    """The product's reading pattern and its parts, one after the other in one thread."""
    bench: Bench = lit_bench(NATIVE)
    channel = bench.channels[NAME]
    decoder = NativeDecoder(runs=True)
    port = _open(path)
    begin = flushed = time.perf_counter()
    while channel.readings < count:
        data = port.read(port.in_waiting or 1)
        now = time.perf_counter()
        while len(data) < BURST_BYTES and (more := port.in_waiting):  # as the link does
            data += port.read(more)
        out = bench.take(NAME, decoder.feed(data), int(now * 1e6))
        recorder.keep_readings(out.readings)
        if now - flushed >= FLUSH_S:
            flushed = now
            recorder.flush()
    recorder.flush()
    seconds = time.perf_counter() - begin
    port.close()
    return seconds


async def _whole(path: str, count: int, home: Path) -> float:
    """The product's link in its thread, its core on an event loop, its journal on disk."""
    sensor = msgspec.structs.replace(NATIVE, port=path)
    core, journal = lit_core(home, sensor, count)
    link = SerialLink(sensor, core.clock)
    plug(core, NAME, link)
    telling = asyncio.create_task(core.tell())
    link.start(core.sink)
    while not link.send(b"go\n"):
        await asyncio.sleep(0.001)
    begin = time.perf_counter()
    await asyncio.wait_for(core.reached.wait(), 120)
    core.flush()
    await asyncio.wrap_future(core.commit([]))
    seconds = time.perf_counter() - begin
    core.let_links_end()
    link.stop()
    telling.cancel()
    journal.close()
    return seconds
