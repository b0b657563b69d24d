"""Seeded journals of one sensor: what a real one goes through, on purpose too often. All invented."""

from __future__ import annotations

import random
from pathlib import Path

import msgspec

from uvdose.config import SensorSettings
from uvdose.dose.response import identity_of, response_of
from uvdose.exposure.channel import Channel
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.journal.store import Store
from uvdose.model import MomentReading, Reading, RegisterReading

BEGIN_US, SHIFT_US = 7_000_000_123, 1_782_000_000_000_457
NATIVE = SensorSettings("sill", "serial", port="-", scale=0.0125, zero=3.0, full_scale=1023.0, zero_u=0.5)
MOMENT = SensorSettings("sill", "serial", port="-", format="number", unit="V", zero=0.012, full_scale=3.2)
W32 = 1 << 32


def lines(rng: random.Random, count: int) -> list[tuple[int, Reading]]:
    """Arrivals and lines of a node: power-ups, resets, wraps, doubled and swapped lines, holes, saturation."""
    out: list[tuple[int, Reading]] = []
    at_us, boot, seq, uptime = BEGIN_US, rng.getrandbits(32), W32 - rng.randrange(1, 200), W32 - rng.randrange(200_000)
    register = sat = flags = 0
    level = 400.0
    for _ in range(count):
        what = rng.random()
        step_ms = rng.randrange(150, 1500)
        if what < 0.02:
            step_ms = rng.randrange(11_000, 30_000) if what > 0.003 else rng.randrange(61_000, 140_000)  # unheard
        level = min(1023.0, max(2.0, level * rng.uniform(0.85, 1.18)))
        if what > 0.985:
            off_ms = rng.randrange(500, 70_000)
            boot, seq, uptime, register, sat, flags = rng.getrandbits(32), 0, 0, 0, 0, 0
            at_us += off_ms * 1000
        elif what > 0.975:
            at_us += rng.randrange(200, 4000) * 1000  # a reset that kept the register
            flags = 0x08
        milli = round(level * 1000)
        uptime, register, seq = (uptime + step_ms) % W32, register + milli * step_ms // 1000, (seq + 1) % W32
        if level >= 1023.0:
            sat += step_ms // 2
        at_us += step_ms * 1000
        line = RegisterReading(boot, seq, uptime, milli, register, sat, 0, flags)
        out.append((at_us + rng.randrange(0, 40_000), line))
        if 0.03 < what < 0.06:
            out.append(out[-1])
        if 0.06 < what < 0.08 and len(out) > 2:
            out[-1], out[-2] = (out[-2][0], out[-1][1]), (out[-1][0], out[-2][1])
    return sorted(out, key=lambda row: row[0])


def values(rng: random.Random, count: int, numbered: bool) -> list[tuple[int, Reading]]:
    """Arrivals and momentary values: several at one moment, holes, doubled and swapped ones, saturation."""
    out: list[tuple[int, Reading]] = []
    at_us, level = BEGIN_US, 1.2
    for i in range(count):
        what = rng.random()
        at_us += 0 if what > 0.97 else rng.randrange(100_000, 1_900_000)
        if what < 0.02:
            at_us += 1000 * (rng.randrange(11_000, 30_000) if what > 0.003 else rng.randrange(61_000, 140_000))
        level = min(3.2, max(-0.01, level * rng.uniform(0.85, 1.18)))
        out.append((at_us, MomentReading(level, None, i if numbered else None)))
        if numbered and 0.03 < what < 0.06:
            out.append(out[-1])
        if numbered and 0.06 < what < 0.08 and len(out) > 2:
            out[-1], out[-2] = (out[-2][0], out[-1][1]), (out[-1][0], out[-2][1])
    return out


def journal(path: Path, kind: str, seed: int, count: int = 500) -> Store:
    """A journal as the bench would have written it: the sensor's zero is set anew under way, and the wall clock."""
    rng = random.Random(f"{kind} {seed}")
    settings = NATIVE if kind == "native" else MOMENT
    came = lines(rng, count) if kind == "native" else values(rng, count, kind == "numbered")
    shift = [SHIFT_US]
    db = open_writing(path)
    db.execute("PRAGMA synchronous=OFF")  # no test here pulls the plug
    recorder = Recorder(db, lambda t_us: t_us + shift[0])
    channel = Channel("sill", identity_of(settings), response_of(settings))

    def write(statements: list[tuple[str, tuple[object, ...]]]) -> None:
        for sql, bound in statements:
            db.execute(sql, bound)

    write(recorder.sensor(channel.identity))
    for i, (arrival_us, reading) in enumerate(came):
        if i == count // 3:
            settings = msgspec.structs.replace(settings, zero=settings.zero * 1.1)
            channel.respond(identity_of(settings), response_of(settings))
            write(recorder.sensor(channel.identity))
        if i == count // 2:
            write(recorder.flush())
            shift[0] += 61_000_001
        timed, _ = channel.take(reading, arrival_us)
        recorder.keep_readings([("sill", t.t_us, t.reading) for t in timed])
    timed, _ = channel.tick(came[-1][0] + 10_000_000)
    recorder.keep_readings([("sill", t.t_us, t.reading) for t in timed])
    write(recorder.flush())
    return Store(db)
