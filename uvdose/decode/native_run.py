"""Native lines that came together, read column by column instead of line by line: a backlog in half the time.

It only ever says yes to what is plain: whole readings of one boot that tell of nothing but time and light, their levels
with three decimals. Whatever else is among the lines is left to the reader of single lines, which comes to the same
where both say yes.
"""

from __future__ import annotations

from binascii import crc_hqx, unhexlify
from itertools import repeat
from struct import unpack

import msgspec

from ..model import RegisterRun

RUN_LEAST = 8  # for fewer lines it does not pay
_PREFIX = 13  # uv1,xxxxxxxx,
_numbers = msgspec.json.Decoder(list[int]).decode  # plain digits only are let through to it
_END_32, _END_63 = 1 << 32, 1 << 63


def run_of(lines: list[bytes]) -> RegisterRun | None:
    """The run that exactly these lines are; None where they are not all plain."""
    n, head = len(lines), lines[0]
    prefix = head[:_PREFIX]
    told = head[_PREFIX:-4].split(b",")
    if prefix[:4] != b"uv1," or prefix[12:] != b"," or len(told) != 7 or len(told[6]) != 3:
        return None
    # From the register on all lines end alike, but for their checksums: saturated time, presses, flags, `*`.
    end = b",%b,%b,%b" % (told[4], told[5], told[6])
    size = len(end) + 4
    ends = b"".join([line[-size:] for line in lines])
    sums = ends.replace(end, b"")
    if len(sums) != 4 * n or ends[::size] != b"," * n or ends[size - 5 :: size] != b"*" * n:
        return None
    bodies = [line[:-5] for line in lines]
    try:
        boot, flags = int.from_bytes(unhexlify(prefix[4:12])), unhexlify(told[6][:2])[0]
        if not _are_proved(bodies, unhexlify(sums)):
            return None
        # Each line becomes -1, then its numbers; the decimals of the level a number of their own, with -1 before them.
        # Nothing else has a sign, so that the columns stand straight where all of the first are -1 and all decimals
        # are negative.
        text = b"\n".join([b"", *bodies, b""])
        if text.count(b"\n" + prefix) != n or text.count(b".") != n or b"-" in text:
            return None
        text = text.replace(b"\n" + prefix, b"\n-1,").replace(end[:-1] + b"\n", b"\n")
        if text.translate(None, b"0123456789,.\n-"):
            return None
        if not (told[4] + told[5]).isdigit() or b"" in told:
            return None
        flat = _numbers(b"[%b]" % text[1:-1].replace(b".", b",-1").replace(b"\n", b","))
    except ValueError:  # binascii.Error and msgspec's own are ValueErrors too: no hex digits, a leading zero
        return None
    if len(flat) != 6 * n or flat[::6] != [-1] * n:
        return None
    seq, uptime, whole, parts, register = (flat[i::6] for i in range(1, 6))
    sat, presses = int(told[4]), int(told[5])
    if max(parts) > -1000 or min(parts) <= -2000 or max(sat, presses, *map(max, (seq, uptime, whole))) >= _END_32:
        return None
    if max(register) >= _END_63:  # and no line is too long, as no number has leading zeros
        return None
    level = [w * 1000 - p - 1000 for w, p in zip(whole, parts, strict=True)]
    return RegisterRun(boot, seq, uptime, level, register, sat, presses, flags)


def _are_proved(bodies: list[bytes], told: bytes) -> bool:
    """Whether each body has the checksum that is told of it: in `told`, two bytes each, high byte first."""
    return unpack(f">{len(bodies)}H", told) == tuple(map(crc_hqx, bodies, repeat(0xFFFF)))
