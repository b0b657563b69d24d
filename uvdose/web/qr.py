"""A QR code in the terminal: half blocks, two rows in a line, in colours of its own, so that any terminal shows it."""

from __future__ import annotations

from .phones import Role

BORDER = 2  # modules; the page around it in a terminal is quiet enough for the other two

_BLACK_ON_WHITE, _BACK = "\x1b[38;5;16;48;5;231m", "\x1b[0m"


def qr_lines(text: str, colour: bool) -> list[str]:
    """The code, line by line. Without colour its light parts are drawn, which is right on a dark terminal."""
    import segno  # here, since most daemons never draw one

    matrix = [[bool(module) for module in row] for row in segno.make(text, error="l", boost_error=False).matrix]
    size = len(matrix) + 2 * BORDER
    rows = [[False] * size for _ in range(BORDER)]
    rows += [[False] * BORDER + row + [False] * BORDER for row in matrix]
    rows += [[False] * size for _ in range(BORDER + size % 2)]
    lines = []
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        halves = "".join(_half(up == colour, down == colour) for up, down in zip(upper, lower, strict=True))
        lines.append(f"{_BLACK_ON_WHITE}{halves}{_BACK}" if colour else halves)
    return lines


def _half(upper: bool, lower: bool) -> str:
    return {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}[upper, lower]

def invite_lines(urls: list[str], role: Role, valid_s: int, colour: bool) -> list[str]:
    """The first address as a QR code, all of them as text, and how long they are good."""
    use = "one phone, which may act" if role == "act" else "phones that may look, not act"
    return [*qr_lines(urls[0], colour), *urls, f"scan it or type it: pairs {use}; good for {valid_s // 60} minutes"]
