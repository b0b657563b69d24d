"""The native line, pure: its frame and checksum, the text of a reading, the numbers in commands."""

LONGEST_COMMAND = 200
# CRC-16/CCITT-FALSE, half a byte at a time: sixteen entries instead of 256, and no shift for each bit.
_CRC = (
    0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
    0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF,
)  # fmt: skip


class Fault(Exception):
    """The reason of an `err` answer."""


def crc16(data):
    """CRC-16/CCITT-FALSE of bytes; of b"123456789" it is 0x29B1."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc << 4 & 0xFFFF) ^ _CRC[crc >> 12 ^ byte >> 4]
        crc = (crc << 4 & 0xFFFF) ^ _CRC[crc >> 12 ^ byte & 15]
    return crc


def frame(text):
    """Text, `*`, its checksum in four upper-case hex digits, LF; as bytes."""
    body = text.encode()
    return body + b"*%04X\n" % crc16(body)


def unframe(line):
    """The text of a framed line, with or without its ending; None where the proof is missing or wrong."""
    if line.endswith(b"\n"):
        line = line[:-1]
    if line.endswith(b"\r"):
        line = line[:-1]
    star = line.rfind(b"*")
    if star < 1 or len(line) - star != 5 or len(line) > LONGEST_COMMAND:
        return None
    body = line[:star]
    for byte in body:
        if not 32 <= byte <= 126 or byte == 42:
            return None
    if line[star + 1 :].upper() != b"%04X" % crc16(body):
        return None
    return body.decode()


def reading(boot, seq, uptime_ms, level_milli, register, sat_ms, presses, flags):
    """The text of a reading. level_milli: thousandths of a count; every other number as the line carries it."""
    level = str(level_milli // 1000)
    if level_milli % 1000:
        level += f".{level_milli % 1000:03d}".rstrip("0")
    return f"uv1,{boot:08x},{seq},{uptime_ms},{level},{register},{sat_ms},{presses},{flags:02x}"


def whole(word, least, most):
    """A whole number of plain digits. Raises `Fault`."""
    if not 0 < len(word) <= 19 or not _digits(word) or not least <= int(word) <= most:
        raise Fault("value")
    return int(word)


def thousandths(word, least, most):
    """A number of plain digits with or without decimals, in thousandths; finer ones are cut. Raises `Fault`."""
    head, point, tail = word.partition(".")
    if not 0 < len(head) <= 9 or len(tail) > 9 or not _digits(head) or (point and not tail) or not _digits(tail):
        raise Fault("value")
    milli = int(head) * 1000 + int((tail + "000")[:3])
    if not least <= milli <= most:
        raise Fault("value")
    return milli


def _digits(word):
    return all("0" <= sign <= "9" for sign in word)
