"""The native line of a node: readings and answers up, commands down. Each line carries a checksum.

`uv1,<boot>,<seq>,<uptime_ms>,<level>,<register>,<sat_ms>,<presses>,<flags>*<crc>`, `ok <command>*<crc>`,
`err <reason>*<crc>`. The checksum is CRC-16/CCITT-FALSE (polynomial 0x1021, start 0xFFFF, nothing reflected, no
final XOR; check value 0x29B1, CRC catalogue) over every byte before the last `*`, as 4 hex digits.

Fields: boot 8 hex digits, flags 2 hex digits, either case; level `digits[.digits]`, below 2^32 counts, at most 20
digits behind the point; all others plain digits. Leading zeros are allowed, signs and blanks are not.

The reason of a `BadInput` is one of `REASONS`; nodes are tested against the same words.
"""

from __future__ import annotations

from binascii import crc_hqx, unhexlify
from struct import Struct
from struct import error as StructError

from ..model import Answer, BadInput, Decoded, RegisterReading
from .lines import MAX_LINE, LineBuffer, bad, is_overlong, whole_lines
from .native_run import RUN_LEAST, run_of

REASONS = (
    "overlong", "no checksum", "checksum", "unknown line", "field count", "boot", "seq", "uptime", "level",
    "register", "sat", "presses", "flags", "text", "rubbish before line", "empty message",
)
_LEVEL_FRACTION_DIGITS = 20
_LEVEL_MILLI_END = 1000 << 32
_HEX_DIGITS = frozenset(b"0123456789abcdefABCDEF")
_HEX_PARTS = Struct(">IBH").unpack  # boot, flags, crc
_STARTS = (b"uv1,", b"ok ", b"err ")


def crc16(data: bytes) -> int:
    """CRC-16/CCITT-FALSE of `data`."""
    return crc_hqx(data, 0xFFFF)


class NativeDecoder:
    """Decodes native lines from a stream or from messages.

    The very first line of a stream is tried like any other: the checksum tells whether it is whole. Where a line
    fails but a whole one stands at its end (a node that was reset in the middle of a line), the rubbish before it
    gives one `BadInput` and the line is read.

    runs: readings that come together, and nothing among them, are given as one `RegisterRun`.
    """

    __slots__ = ("_buffer", "_runs")

    def __init__(self, runs: bool = False) -> None:
        self._buffer = LineBuffer()
        self._runs = runs

    def feed(self, data: bytes) -> list[Decoded]:
        """Bytes of a stream, cut anywhere. Empty lines mean nothing. Never raises."""
        return self._lines(self._buffer.feed(data))

    def message(self, data: bytes) -> list[Decoded]:
        """One message: one or several whole lines, with or without a last newline. Never raises."""
        return self._lines(whole_lines(data)) or [bad("empty message", data)]

    def _lines(self, lines: list[bytes]) -> list[Decoded]:
        if self._runs and len(lines) >= RUN_LEAST:
            run = run_of(lines)
            if run is not None:
                return [run]
        return _decode(lines)


def _decode(lines: list[bytes]) -> list[Decoded]:
    out: list[Decoded] = []
    for line in lines:
        if not line:
            continue
        # The one path that is hot; it decides nothing but yes. Whatever fails is looked at again in `_slow`.
        try:
            body, _, crc = line.rpartition(b"*")
            kind, boot, seq, uptime, level, register, sat, presses, flags = body.split(b",")
            boot_n, flags_n, crc_n = _HEX_PARTS(unhexlify(boot + flags + crc))
            whole, dot, fraction = level.partition(b".")
            # int() alone would take signs, blanks and underscores; isdigit() of bytes knows ASCII digits only.
            if (
                kind == b"uv1"
                and crc_n == crc_hqx(body, 0xFFFF)
                and len(boot) == 8
                and len(flags) == 2
                and (seq + uptime + whole + fraction + register + sat + presses).isdigit()
            ):
                if not dot:
                    milli = int(whole) * 1000
                elif len(fraction) == 3:
                    milli = int(whole) * 1000 + int(fraction)
                else:
                    milli = _level_milli(whole, fraction)
                seq_n, uptime_n, register_n = int(seq), int(uptime), int(register)
                sat_n, presses_n = int(sat), int(presses)
                if not ((seq_n | uptime_n | sat_n | presses_n) >> 32 or register_n >> 63) and milli < _LEVEL_MILLI_END:
                    out.append(
                        RegisterReading(boot_n, seq_n, uptime_n, milli, register_n, sat_n, presses_n, flags_n)
                    )
                    continue
        except (ValueError, StructError):  # binascii.Error is a ValueError
            pass
        _slow(line, out)
    return out


def _level_milli(whole: bytes, fraction: bytes) -> int:
    """Thousandths of `whole.fraction`, half to even. Raises ValueError for no digits or too many."""
    if not 0 < len(fraction) <= _LEVEL_FRACTION_DIGITS:
        raise ValueError
    if len(fraction) <= 3:
        return int(whole) * 1000 + int(fraction.ljust(3, b"0"))
    milli = int(whole) * 1000 + int(fraction[:3])
    rest = fraction[3:]
    tail, half = int(rest), 5 * 10 ** (len(rest) - 1)
    return milli + (tail > half or (tail == half and milli & 1))


def _slow(line: bytes, out: list[Decoded]) -> None:
    """What is not a whole reading: an answer, a line behind rubbish, or bad input."""
    found = _answer_or_reason(line)
    if found.__class__ is BadInput and not is_overlong(line):
        starts = [at for at in (line.rfind(start) for start in _STARTS) if at > 0]
        for at in sorted(starts):
            tail = line[at:]
            salvaged = _decode_one(tail)
            if salvaged is not None:
                out.append(bad("rubbish before line", line[:at]))
                out.append(salvaged)
                return
    out.append(found)


def _decode_one(tail: bytes) -> Decoded | None:
    """The reading or answer that exactly these bytes are, else None."""
    # A later `uv1,` cannot stand in a tail that begins with the last one, so this goes no deeper than twice.
    got = _decode([tail])[0] if tail.startswith(b"uv1,") else _answer_or_reason(tail)
    return None if got.__class__ is BadInput else got


def _answer_or_reason(line: bytes) -> Answer | BadInput:
    """An answer, or the reason why a line is neither an answer nor a reading."""
    if is_overlong(line):
        return bad("overlong", line)
    body = _proved(line)
    if body is None:
        return bad("checksum" if _has_checksum(line) else "no checksum", line)
    if body.startswith((b"ok ", b"err ")):
        text = body.decode("latin-1")
        if _plain(text) and text.partition(" ")[2].strip():
            return Answer(text)
        return bad("text", line)
    if not body.startswith(b"uv1,"):
        return bad("unknown line", line)
    return bad(_reading_fault(body.split(b",")), line)


def _reading_fault(fields: list[bytes]) -> str:
    """The first field that breaks the form of a reading whose checksum holds."""
    if len(fields) != 9:
        return "field count"
    _, boot, seq, uptime, level, register, sat, presses, _ = fields
    if len(boot) != 8 or not _HEX_DIGITS.issuperset(boot):
        return "boot"
    for name, text, bits in (("seq", seq, 32), ("uptime", uptime, 32)):
        if not _fits(text, bits):
            return name
    whole, dot, fraction = level.partition(b".")
    if not whole.isdigit() or (dot and not fraction.isdigit()) or len(fraction) > _LEVEL_FRACTION_DIGITS:
        return "level"
    if not _fits(whole, 32) or (dot and _level_milli(whole, fraction) >= _LEVEL_MILLI_END):
        return "level"
    for name, text, bits in (("register", register, 63), ("sat", sat, 32), ("presses", presses, 32)):
        if not _fits(text, bits):
            return name
    return "flags"


def _fits(text: bytes, bits: int) -> bool:
    """Whether `text` is an unsigned decimal number below 2^bits."""
    return text.isdigit() and not int(text) >> bits


def _has_checksum(line: bytes) -> bool:
    return line[-5:-4] == b"*" and _HEX_DIGITS.issuperset(line[-4:])


def _proved(line: bytes) -> bytes | None:
    """What stands before the checksum of a line, None where the checksum is missing or wrong."""
    if not _has_checksum(line) or int(line[-4:], 16) != crc16(line[:-5]):
        return None
    return line[:-5]


def _plain(text: str) -> bool:
    """Printable ASCII without `*`, so that it can be framed and read back."""
    return text.isascii() and text.isprintable() and "*" not in text


def frame_command(text: str) -> bytes:
    """One line for the wire: `text*CRC` and LF. Answers of a node are framed in the same way.

    Raises ValueError where `text` is empty, not printable ASCII, holds `*`, or is too long for a line.
    """
    if not text or not _plain(text) or len(text) > MAX_LINE - 5:
        raise ValueError(f"not a line for a node: {text[:80]!r}")
    body = text.encode("ascii")
    return b"%s*%04X\n" % (body, crc16(body))


def parse_command(line: bytes) -> str | None:
    """The command of one line from `frame_command`, with or without its ending; None where it is not proved."""
    if line.endswith(b"\n"):
        line = line[:-1]
    if line.endswith(b"\r"):
        line = line[:-1]
    body = None if is_overlong(line) else _proved(line)
    text = "" if body is None else body.decode("latin-1")
    return text if text and _plain(text) else None


def format_line(reading: RegisterReading) -> bytes:
    """The line of a reading, LF included: the exact inverse of decoding it. Level has the fewest decimals."""
    whole, milli = divmod(reading.level_milli, 1000)
    level = f"{whole}.{milli:03d}".rstrip("0") if milli else f"{whole}"
    return frame_command(
        f"uv1,{reading.boot:08x},{reading.seq},{reading.uptime_ms},{level},{reading.register},"
        f"{reading.sat_ms},{reading.presses},{reading.flags:02x}"
    )
