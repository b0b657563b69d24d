"""What the cases share, for both Pythons. Each oracle is reckoned in another way than the firmware does it."""

import wire
from node import Node
from parts import Bus

HOW = {"vectors": "", "fuzz": 10_000}


class Dice:
    """The same draws under both interpreters: a linear congruential generator (Numerical Recipes' constants)."""

    def __init__(self, seed):
        self._x = seed

    def __call__(self, below=1 << 32):
        self._x = (self._x * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self._x * below) >> 32


def make(rate_milli=1000, hold_ms=1000, seed=1):
    return Node("sill", "ltr390", "3x100ms", 262143, "0", Dice(seed), rate_milli, hold_ms)


def fields(line):
    """Numbers of a reading's line, its proof looked at by the standard's own bitwise rule."""
    body, crc = line.rstrip(b"\n").split(b"*")
    assert crc == b"%04X" % bitwise_crc(body), line
    words = body.decode().split(",")
    assert words[0] == "uv1" and len(words) == 9, line
    return {
        "boot": int(words[1], 16), "seq": int(words[2]), "uptime": int(words[3]), "level": words[4],
        "register": int(words[5]), "sat": int(words[6]), "presses": int(words[7]), "flags": int(words[8], 16),
    }  # fmt: skip


def bitwise_crc(data):
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


def readings(node):
    """The readings said since the last look."""
    found = [fields(line) for line in node.out if line.startswith(b"uv1,")]
    node.out.clear()
    return found


def ask(node, text, now_ms):
    """What a command is answered, and what is said before."""
    node.out.clear()
    node.command(wire.frame(text), now_ms)
    said = list(node.out)
    node.out.clear()
    return wire.unframe(said[-1]), said[:-1]


def run_to(node, now_ms, end_ms, counts=10, step=10):
    """Steady light; the stretches (from, to) in which the node says that its buzzer is on."""
    stretches, began = [], None
    while now_ms <= end_ms:
        node.sample(counts, False, now_ms)
        if len(node.out) > 100:
            node.out.clear()  # the board's program takes them each 10 ms
        on = node.flags() & 1
        if on and began is None:
            began = now_ms
        if not on and began is not None:
            stretches.append((began, now_ms))
            began = None
        now_ms += step
    if began is not None:
        stretches.append((began, None))
    return stretches


def bench(kind, gain, integration_ms):
    """A driver on a model of its part, with a clock and a light to be set."""
    now, light = [0], [0]
    model = kind[1](lambda: now[0], lambda: light[0])
    return kind[0](Bus(model), gain, integration_ms), model, now, light
