"""Lines read column by column come to what the reader of single lines makes of them."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest
from decode.cases import LONG, mutated
from decode.test_native import VECTORS, _bytes, _framed

from uvdose.decode.native import NativeDecoder, format_line
from uvdose.model import Decoded, RegisterReading, RegisterRun

ODD = (
    "", "0", "00", "-1", "+1", " 1", "1 ", "1_0", "1.", ".5", "1.5", "1.50", "1.500", "0.5", "0.500", "01.500",
    "1.5000", "1.0005", "1e3", "1.2e3", "0x1", "4294967295", "4294967296", "4294967295.999", "4294967296.000",
    "9223372036854775807", "9223372036854775808", "18446744073709551615", "18446744073709551616",
    "99999999999999999999", "a1b2c3d4", "A1B2C3D4", "a1b2c3d", "0f", "0F", "f", "0f0", "\t1", "1\r", "1\x00", "NaN",
    "null", "true", "1,2", '"1"', "[1]", "1-", "--1", "٣",
)


def single(found: Sequence[Decoded]) -> list[Decoded]:
    """What was found, runs as their lines."""
    return [one for item in found for one in (item.readings() if isinstance(item, RegisterRun) else [item])]


def lines(rng: random.Random, count: int, boot: int | None = None, flags: int | None = None) -> list[bytes]:
    boot = rng.getrandbits(32) if boot is None else boot
    register = rng.randrange(1 << 40)
    base, often = rng.randrange(3), rng.choice((9, 1000))
    out = []
    for seq in range(1, count + 1):
        level = rng.randrange(1_000_000)
        register += level // 10
        sat, presses = base + seq // often, base + seq // often
        flag = rng.choice((0, 0, 0, 8)) if flags is None else flags
        line = format_line(RegisterReading(boot, seq, seq * 100, level, register, sat, presses, flag))
        if rng.random() < 0.9:  # as boards print it: all three decimals
            body = b"uv1,%08x,%d,%d,%d.%03d,%d,%d,%d,%02x" % (
                boot, seq, seq * 100, level // 1000, level % 1000, register, sat, presses, flag,
            )
            line = _framed(body) + b"\n"
        out.append(line)
    return out


def plain(rng: random.Random, count: int) -> list[bytes]:
    """Lines that differ in number, time and light alone."""
    boot, same = rng.getrandbits(32), (rng.getrandbits(rng.choice((1, 32))), rng.getrandbits(32), rng.randrange(256))
    return [
        _framed(b"uv1,%08x,%d,%d,%d.%03d,%d,%d,%d,%02x" % (
            boot, rng.getrandbits(32), rng.getrandbits(32), rng.getrandbits(32), rng.randrange(1000),
            rng.getrandbits(rng.randrange(1, 63)), *same,
        )) + rng.choice((b"\n", b"\r\n"))
        for _ in range(count)
    ]


def check(data: bytes, rng: random.Random) -> int:
    """Fed in random pieces to both; returns how many lines came in runs."""
    fast, slow, runs = NativeDecoder(runs=True), NativeDecoder(), 0
    at = 0
    while at < len(data):
        piece = data[at : at + rng.choice((1, 30, 700, 4096, 20_000))]
        at += len(piece)
        found = fast.feed(piece)
        runs += sum(len(item) for item in found if isinstance(item, RegisterRun))
        assert single(found) == slow.feed(piece)
    assert single(NativeDecoder(runs=True).message(data)) == NativeDecoder().message(data)
    return runs


@pytest.mark.parametrize("seed", range(40))
def test_plain_lines_are_a_run(seed: int) -> None:
    rng = random.Random(seed)
    made = plain(rng, 60)
    (run,) = NativeDecoder(runs=True).feed(b"".join(made))
    assert isinstance(run, RegisterRun) and run.readings() == NativeDecoder().feed(b"".join(made))
    assert check(b"".join(made), rng) > 0 or seed


def test_lines_of_any_kind_come_to_the_same() -> None:
    rng, runs = random.Random(1), 0
    for _ in range(300):
        boot = rng.getrandbits(32)
        made: list[bytes] = []
        for _ in range(rng.randrange(1, 4)):
            made += lines(rng, rng.randrange(1, 40), boot, rng.choice((0, 9)))
        for _ in range(rng.choice((0, 0, 1, 3))):
            at = rng.randrange(len(made))
            made[at] = rng.choice((
                b"\n", b"ok who a b\n", made[at][: rng.randrange(len(made[at]))], made[at] + b"\xff",
                made[0] + made[at], made[at].replace(b"uv1", b"uv2"), made[at].lower(), made[at].upper(),
                made[at] * 2, made[at][:-1] * 90,
                _framed(b"ok buzz") + b"\n", b"-1," + made[at], made[at].replace(b",", b"\n", 1),
            ))
        runs += check(b"".join(made), rng)
    assert runs > 500


def test_one_odd_field_among_plain_lines() -> None:
    rng, valid = random.Random(2), 0
    for field in range(8):
        for odd in ODD * 2:
            made = lines(rng, 12, 0xA1B2C3D4, 0)
            for at in range(12) if field > 4 and rng.random() < 0.5 else [rng.randrange(12)]:
                fields = made[at][4:].rpartition(b"*")[0].split(b",")
                fields[field] = odd.encode()
                made[at] = _framed(b"uv1," + b",".join(fields)) + b"\n"
            data = b"".join(made)
            found = NativeDecoder(runs=True).feed(data)
            assert single(found) == NativeDecoder().feed(data), (field, odd)
            valid += isinstance(found[0], RegisterRun)
    assert valid > 10


def test_fields_moved_from_line_to_line() -> None:
    """Two lines whose commas are right in sum alone."""
    made = [line.rpartition(b"*")[0] for line in plain(random.Random(3), 10)]
    one, other = made[3].rsplit(b",", 3), made[4].split(b",", 2)
    made[3] = b",".join([one[0], one[2], one[3]])
    made[4] = b",".join([other[0], other[1], b"7", other[2]])
    data = b"".join(_framed(body) + b"\n" for body in made)
    assert single(NativeDecoder(runs=True).feed(data)) == NativeDecoder().feed(data)


def test_fuzz() -> None:
    rng, runs = random.Random(4), 0
    kept = [_bytes(v["line"]) for part in ("readings", "answers", "invalid") for v in VECTORS[part]]
    spoilt = iter(mutated(kept, 400_000 if LONG else 4_000, seed=5))
    for line in spoilt:
        made = lines(rng, 20, flags=0)
        if rng.random() < 0.7:
            made[rng.randrange(20)] = line
        data = b"".join(made)
        found = NativeDecoder(runs=True).feed(data)
        runs += isinstance(found[0], RegisterRun) if found else 0
        assert single(found) == NativeDecoder().feed(data)
    assert runs > 100


BODIES_THAT_MAKE_UP_FOR_EACH_OTHER = [
    # What one line lacks another has too much of: the columns are as long as they should be.
    (b"uv1,a1b2c3d4,1,100,3.000,4,uv1,a1b2c3d4,5,0,0,00", b"6,7.000,8,0,0,00"),
    (b"uv1,a1b2c3d4,1.00,3.000,4,0,0,00", b"uv1,a1b2c3d4,2,200,7,1500,8,0,0,00"),
    (b"-1,1,100,3.000,4,0,0,00", b"uv1,a1b2c3d4,2,200,7.000,8,0,0,00"),
    (b"uv1,a1b2c3d4,2,200,7.000,8,0,0,00", b"-1,3,300,3.000,9,0,0,00"),
]


@pytest.mark.parametrize("bodies", BODIES_THAT_MAKE_UP_FOR_EACH_OTHER)
def test_a_line_does_not_make_up_for_what_another_lacks(bodies: tuple[bytes, ...]) -> None:
    made = lines(random.Random(6), 10, 0xA1B2C3D4, 0)
    made = [line.replace(line.rpartition(b"*")[0].split(b",", 6)[6], b"0,0,00") for line in made]
    made = [_framed(line.rpartition(b"*")[0]) + b"\n" for line in made]
    made[4:4] = [_framed(body) + b"\n" for body in bodies]
    data = b"".join(made)
    assert single(NativeDecoder(runs=True).feed(data)) == NativeDecoder().feed(data)


def test_a_number_of_very_many_digits_is_no_traceback() -> None:
    """Python itself refuses to read whole numbers of more than 4300 digits; a line of 4096 bytes has fewer."""
    boot = b"uv1,a1b2c3d4,%d,%d,1.000,%d,0,%b,00"
    data = b"".join(_framed(boot % (i, i, i, b"0" * 4000)) + b"\n" for i in range(12))
    assert single(NativeDecoder(runs=True).feed(data)) == NativeDecoder().feed(data)
