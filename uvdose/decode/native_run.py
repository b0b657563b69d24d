"""Native lines that came together, read column by column instead of line by line: a backlog in a third of the time.

It only ever says yes to what is plain: whole readings of one boot and one set of flags, levels with three decimals.
Whatever else is among the lines is left to the reader of single lines, which comes to the same where both say yes.
"""

from __future__ import annotations

from binascii import crc_hqx, unhexlify
from itertools import repeat
from struct import unpack

import msgspec

from ..model import RegisterRun
from .lines import MAX_LINE

RUN_LEAST = 8  # for fewer lines it does not pay
_PREFIX = 13  # uv1,xxxxxxxx,
_TAIL = 8  # ,ff*cccc
_numbers = msgspec.json.Decoder(list[int]).decode  # plain digits only are let through to it
_END_32, _END_63 = 1 << 32, 1 << 63


def run_of(lines: list[bytes]) -> RegisterRun | None:
    """The run that exactly these lines are; None where they are not all plain."""
    n, head = len(lines), lines[0]
    prefix, mark = head[:_PREFIX], head[-_TAIL:-4]
    if prefix[:4] != b"uv1," or prefix[12:] != b"," or mark[:1] != b"," or mark[3:] != b"*":
        return None
    ends = b"".join([line[-_TAIL:] for line in lines])
    sums = ends.replace(mark, b"")
    if len(sums) != 4 * n or ends[::_TAIL] != b"," * n or ends[3::_TAIL] != b"*" * n:
        return None  # not the same flags in each, each before its checksum
    bodies = [line[:-5] for line in lines]
    try:
        boot, flags = int.from_bytes(unhexlify(prefix[4:12])), unhexlify(mark[1:3])[0]
        if not _are_proved(bodies, unhexlify(sums)):
            return None
        # Each line becomes -1, then its numbers; the decimals of the level a number of their own, with a 1 before them.
        # Nothing else has a sign, so that the columns stand straight where each -1 stands in the first.
        text = (b"\n".join(bodies) + b"\n").replace(prefix, b"-1,").replace(mark[:3] + b"\n", b"\n")
        if text.count(b"-") != n or text.count(b".") != n or text.translate(None, b"0123456789,.\n-"):
            return None
        flat = _numbers(b"[%b]" % text[:-1].replace(b".", b",1").replace(b"\n", b","))
    except ValueError:  # binascii.Error and msgspec's own are ValueErrors too: no hex digits, a leading zero
        return None
    if len(flat) != 8 * n or flat[::8] != [-1] * n:
        return None
    seq, uptime, whole, parts, register, sat, presses = (flat[i::8] for i in range(1, 8))
    if min(parts) < 1000 or max(parts) >= 2000 or max(map(max, (seq, uptime, whole, sat, presses))) >= _END_32:
        return None
    if max(register) >= _END_63 or max(map(len, lines)) > MAX_LINE:
        return None
    level = [w * 1000 + p - 1000 for w, p in zip(whole, parts, strict=True)]
    return RegisterRun(boot, seq, uptime, level, register, sat, presses, flags)


def _are_proved(bodies: list[bytes], told: bytes) -> bool:
    """Whether each body has the checksum that is told of it: in `told`, two bytes each, high byte first."""
    return unpack(f">{len(bodies)}H", told) == tuple(map(crc_hqx, bodies, repeat(0xFFFF)))
