"""Reads a QR code of half blocks as a phone would read it from a terminal: its modules, then what they say.

Versions 2 to 5 at level L, whose data lies in one block, in byte mode; ISO/IEC 18004 has the order of modules and the
masks.
"""

from __future__ import annotations

import re

_HALVES = {"█": (1, 1), "▀": (1, 0), "▄": (0, 1), " ": (0, 0)}
_MASKS = (
    lambda i, j: (i + j) % 2, lambda i, j: i % 2, lambda i, j: j % 3, lambda i, j: (i + j) % 3,
    lambda i, j: (i // 2 + j // 3) % 2, lambda i, j: i * j % 2 + i * j % 3, lambda i, j: (i * j % 2 + i * j % 3) % 2,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2,
)  # fmt: skip
_DATA_BYTES = {2: 34, 3: 55, 4: 80, 5: 108}

Matrix = list[list[int]]


def code_lines(text: str) -> list[str]:
    """The lines of a printed text that hold the code, colours taken off."""
    plain = [re.sub(r"\x1b\[[0-9;]*m", "", line).rstrip("\r") for line in text.splitlines()]
    return [line for line in plain if len(line) > 20 and set(line) <= set(_HALVES)]


def modules(lines: list[str], drawn: int) -> Matrix:
    """The modules, 1 dark, without the border. drawn: what a drawn half is: 1 dark, 0 light."""
    rows: Matrix = []
    for line in lines:
        halves = [_HALVES[c] for c in line]
        rows += [[half[k] if drawn else 1 - half[k] for half in halves] for k in (0, 1)]
    dark = [(r, c) for r, row in enumerate(rows) for c, module in enumerate(row) if module]
    top, left = min(r for r, _ in dark), min(c for _, c in dark)
    size = max(c for _, c in dark) - left + 1
    assert top >= 2 and left >= 2, "no quiet zone"
    return [row[left : left + size] for row in rows[top : top + size]]


def read(matrix: Matrix) -> str:
    """The text in a matrix."""
    size = len(matrix)
    version = (size - 17) // 4
    spots = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
    told = int("".join(str(matrix[r][c]) for r, c in spots), 2) ^ 0b101010000010010
    assert told >> 13 == 0b01, "not level L"
    mask = _MASKS[(told >> 10) & 7]
    bits = "".join(
        str(matrix[r][c] ^ (mask(r, c) == 0)) for r, c in _order(size) if not _is_pattern(r, c, size, version)
    )
    data = [int(bits[k : k + 8], 2) for k in range(0, 8 * _DATA_BYTES[version], 8)]
    stream = "".join(f"{byte:08b}" for byte in data)
    assert stream[:4] == "0100", "not in byte mode"
    count = int(stream[4:12], 2)
    return bytes(int(stream[12 + 8 * k : 20 + 8 * k], 2) for k in range(count)).decode()


def _order(size: int) -> list[tuple[int, int]]:
    """Two columns at a time from the right, up and down in turns, the timing column left out."""
    spots = []
    up = True
    for right in (c for c in range(size - 1, 0, -2)):
        column = right if right > 6 else right - 1
        for r in range(size - 1, -1, -1) if up else range(size):
            spots += [(r, column), (r, column - 1)]
        up = not up
    return spots


def _is_pattern(r: int, c: int, size: int, version: int) -> bool:
    near = 10 + 4 * version
    corner = (r < 9 and (c < 9 or c >= size - 8)) or (r >= size - 8 and c < 9)
    return corner or r == 6 or c == 6 or (abs(r - near) <= 2 and abs(c - near) <= 2)
