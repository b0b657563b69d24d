"""The values that travel through uvdose: readings, segments of light, marks, and the one error type.

All of them are frozen. Times are whole microseconds of dose time (`t_us`, see `clock`), so that a sum made live
and a sum made again from the journal run over the very same numbers. `None` means unknown; zero means zero.
"""

from __future__ import annotations

import enum
from typing import Any

import msgspec


class Refusal(Exception):
    """A request that is refused: one line for the person, which says what to do.

    `code` is the exit code of the command that asked: 4 refused, 2 the call is wrong, 3 no daemon.
    """

    def __init__(self, line: str, code: int = 4) -> None:
        super().__init__(line)
        self.line = line
        self.code = code


class RegisterReading(msgspec.Struct, frozen=True, gc=False):
    """One line of a native node: a running sum since power-up, like an electricity meter.

    boot: the node's power-up, 32 bit. seq, uptime_ms: unsigned 32 bit, both wrap.
    level_milli: mean counts since the last line, in thousandths, so that it is a whole number everywhere.
    register: sum of counts x ms since power-up, below 2^63. sat_ms: ms spent saturated since power-up.
    presses: button presses since power-up. flags: bit 0 buzzer on, 1 armed, 2 an armed value was reached,
    3 a reset without power loss kept boot, seq, uptime and register.
    """

    boot: int
    seq: int
    uptime_ms: int
    level_milli: int
    register: int
    sat_ms: int
    presses: int
    flags: int


class RegisterRun(msgspec.Struct, frozen=True, gc=False):
    """Lines that came together and tell of nothing but time and light, as columns of equal length; at least one.

    So a backlog costs little. Each line holds as a `RegisterReading` does; boot, sat_ms, presses and flags are those of
    every line.
    """

    boot: int
    seq: list[int]
    uptime_ms: list[int]
    level_milli: list[int]
    register: list[int]
    sat_ms: int
    presses: int
    flags: int

    def __len__(self) -> int:
        return len(self.seq)

    def reading(self, at: int) -> RegisterReading:
        """One of its lines. Raises IndexError."""
        return RegisterReading(
            self.boot, self.seq[at], self.uptime_ms[at], self.level_milli[at], self.register[at], self.sat_ms,
            self.presses, self.flags,
        )

    def readings(self) -> list[RegisterReading]:
        """Its lines one by one."""
        boot, same = self.boot, (self.sat_ms, self.presses, self.flags)
        told = zip(self.seq, self.uptime_ms, self.level_milli, self.register, strict=True)
        return [
            RegisterReading(boot, seq, uptime_ms, level_milli, register, *same)
            for seq, uptime_ms, level_milli, register in told
        ]

    def part(self, begin: int, end: int | None = None) -> RegisterRun:
        """Its lines from one on, up to before another or to its end."""
        if begin == 0 and (end is None or end >= len(self)):
            return self
        return RegisterRun(
            self.boot, self.seq[begin:end], self.uptime_ms[begin:end], self.level_milli[begin:end],
            self.register[begin:end], self.sat_ms, self.presses, self.flags,
        )


class MomentReading(msgspec.Struct, frozen=True, gc=False):
    """One momentary value in the sensor's own unit.

    source_s: the source's own time in seconds (any origin), None where it sends none.
    seq: the source's own running number, None where it sends none.
    """

    value: float
    source_s: float | None = None
    seq: int | None = None


class MeanReading(MomentReading, frozen=True, gc=False):
    """The mean of the value over the `span_us` (above 0) that end at the reading's time, as loggers keep it: out of a
    file that was brought in. Its integral is exact; when within the stretch it fell is not known.
    """

    span_us: int = 0


class Answer(msgspec.Struct, frozen=True, gc=False):
    """A node's answer to a command, its checksum proved and cut off: `ok buzz`, `err unknown`."""

    text: str


class BadInput(msgspec.Struct, frozen=True, gc=False):
    """Bytes that could not be read: a short reason, and at most 80 characters of what came."""

    reason: str
    excerpt: str


class Chosen(msgspec.Struct, frozen=True, gc=False):
    """What a decoder chose by itself where the settings leave it open, as a line; empty: it chooses no more."""

    text: str


Reading = RegisterReading | MomentReading
Decoded = RegisterReading | RegisterRun | MomentReading | Answer | BadInput | Chosen


class Kind(enum.IntEnum):
    """How the light of a segment is known. The three are never mixed silently."""

    MEASURED = 0
    BRIDGED = 1
    MISSING = 2


class Mark(msgspec.Struct, frozen=True, gc=False):
    """Where an act cuts the stream of light: a moment, and for a register node the register at that moment."""

    t_us: int
    boot: int | None = None
    uptime_ms: int | None = None
    register: int | None = None


class MomentSegment(msgspec.Struct, frozen=True, gc=False):
    """Light between two momentary values in the sensor's unit, zero not taken off; straight between the two.

    kind MEASURED: neighbours at the usual interval. BRIDGED: a hole short enough to be bridged. MISSING: a longer
    hole; the values at its ends are then only the central estimate of what fell in it.
    var: variance of the segment's integral, (unit·s)², estimated with `dof` degrees of freedom. peak: the strongest
    light it can have held, in the unit. noise: what noise of the readings adds to var, by itself of either sign, since
    only a sum over many segments tells noise from light.
    """

    t0_us: int
    t1_us: int
    value0: float
    value1: float
    kind: Kind
    var: float = 0.0
    dof: float = 1.0
    peak: float = 0.0
    noise: float = 0.0


class RegisterSegment(msgspec.Struct, frozen=True, gc=False):
    """Measured light between two lines of one boot of a node. Differences of uptime and register are exact.

    unread: where no line came for longer than a hole, the whole is exact, but when it fell is not known. A part that
    is cut out by a moment at which nothing was read is then this: bridged or missing, at the mean of the whole.
    """

    t0_us: int
    t1_us: int
    boot: int
    uptime0_ms: int
    uptime1_ms: int
    register0: int
    register1: int
    sat_ms: int
    unread: MomentSegment | None = None


Segment = RegisterSegment | MomentSegment


class Fact(msgspec.Struct, frozen=True):
    """Something that happened, as the journal keeps it and `events` tells it.

    name: one of started held resumed look lead reached overshoot quieted finished voided gap alarm cleared, armed and
    unarmed (a node), self-call (of a node), pressed (its button), and others that rooms beyond the bench tell.
    """

    t_us: int
    name: str
    exposure: int | None = None
    sensor: str | None = None
    data: dict[str, Any] = {}


class Left(msgspec.Struct, frozen=True):
    """Seconds left of an exposure: the median, and the ends of the range that holds 80 %.

    None where the light may never suffice, or nobody knows. not_today: the sun sets before, most likely (median_s
    None), or as good as surely (low_s None as well).
    """

    median_s: float | None
    low_s: float | None = None
    high_s: float | None = None
    not_today: bool = False


LIGHTS = {"open": "open light", "shade": "shade", "window": "the light of a window"}
"""Where a print may lie by day, and how one says it: under open sky, out of the sun's beam, behind glass."""


class ProvedLight(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The sun's light in which a target was proved. air_mass: relative, 1 for a sun overhead, to 10. sun_azimuth_deg:
    from north over east, None where the air mass alone is known. tilt_deg, azimuth_deg, toward_sun: how sensor and
    frame lay, as `[bench]` says it. utc: the middle of the exposure that proved it, empty where nobody said when.
    """

    air_mass: float
    sun_azimuth_deg: float | None = None
    tilt_deg: float = 0.0
    azimuth_deg: float | None = None
    toward_sun: bool = False
    utc: str = ""
