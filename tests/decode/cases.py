"""What the tests of all decoders share: making one, and giving it its input in three ways."""

from __future__ import annotations

import os
import random
from collections.abc import Callable, Iterator
from typing import Any

from uvdose.config import SensorSettings
from uvdose.decode import Decoder, make_decoder
from uvdose.model import Answer, BadInput, Chosen, Decoded, MomentReading, RegisterReading

LONG = os.environ.get("UVDOSE_LONG") == "1"
RUBBISH = b"\xff\x00\xfe rst cause\x07 \x80\x13"


def decoder(format: str, from_start: bool = True, **settings: Any) -> Decoder:
    """A decoder for settings with this format."""
    return make_decoder(SensorSettings(name="sill", link="serial", port="x", format=format, **settings), from_start)


def readings(found: list[Decoded]) -> list[Decoded]:
    return [item for item in found if not isinstance(item, BadInput)]


def three_ways(make: Callable[[], Decoder], line: bytes) -> list[Decoded]:
    """What a line comes to: whole, byte by byte, and with rubbish before and after; all must agree."""
    whole = make().feed(line + b"\n")
    slow = make()
    assert [item for i in range(len(line)) for item in slow.feed(line[i : i + 1])] == []
    assert slow.feed(b"\n") == whole
    assert make().feed(line + b"\r\n") == whole
    noisy = make().feed(RUBBISH + b"\r\n" + line + b"\r\n" + RUBBISH + b"\n")
    assert isinstance(noisy[0], BadInput) and isinstance(noisy[-1], BadInput)
    assert noisy[1:-1] == whole
    assert make().message(line) == whole
    return whole


def cut(data: bytes, places: list[int]) -> Iterator[bytes]:
    """`data` cut at these places, in any order and beyond the end too."""
    last = 0
    for place in sorted(min(p, len(data)) for p in places):
        yield data[last:place]
        last = place
    yield data[last:]


def mutated(lines: list[bytes], count: int, seed: int) -> Iterator[bytes]:
    """Lines spoilt in the ways in which links and boards spoil them, the same ones for the same seed."""
    dice = random.Random(seed)
    for _ in range(count):
        line = bytearray(dice.choice(lines))
        for _ in range(dice.randint(0, 3)):
            at = dice.randrange(len(line) + 1)
            match dice.randrange(6):
                case 0:
                    line[at:at] = dice.randbytes(dice.randint(1, 8))
                case 1:
                    del line[at : at + dice.randint(1, 8)]
                case 2 if line:
                    line[at % len(line)] ^= 1 << dice.randrange(8)
                case 3:
                    line[at:at] = dice.choice(lines)
                case 4:
                    line[at:at] = dice.choice([b"\x00", b"\xc2\xb2", b"_", b"-", b"NaN", b"1e999", b"\x1b[31m"])
                case _:
                    line[at:at] = dice.choice([b",", b"*", b":", b'"', b"{", b"9" * 400, b"\r", b"[" * 3000])
        yield bytes(line) + dice.choice([b"\n", b"\r\n", b"\n\n", b""])


def check_types(found: list[Decoded]) -> None:
    """Only the types of `Decoded` come out, and each holds what it promises."""
    for item in found:
        match item:
            case RegisterReading():
                assert 0 <= item.boot < 1 << 32 and 0 <= item.seq < 1 << 32 and 0 <= item.uptime_ms < 1 << 32
                assert 0 <= item.level_milli < 1000 << 32 and 0 <= item.register < 1 << 63
                assert 0 <= item.sat_ms < 1 << 32 and 0 <= item.presses < 1 << 32 and 0 <= item.flags < 256
            case MomentReading():
                assert type(item.value) is float and abs(item.value) <= 1e12
                assert item.source_s is None or (type(item.source_s) is float and abs(item.source_s) <= 1e12)
                assert item.seq is None or type(item.seq) is int
            case Answer():
                assert item.text.isascii() and item.text.isprintable()
            case Chosen():
                assert item.text.isprintable()
            case BadInput():
                assert item.reason and len(item.excerpt) <= 80 and item.excerpt.isprintable()
            case other:
                raise AssertionError(other)
