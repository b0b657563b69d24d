"""The deepest that the stack can come, told from the image itself: stack.py IMAGE.elf

Each function of the disassembly takes what it pushes, the frame that it makes, and two bytes for the way back of each
call. The deepest chain of calls from main, and on top of it the deepest interrupt (they do not interrupt each other),
is the bound. Calls through a pointer and recursion are refused, since they could not be followed.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

RAM_END = 0x900
BACK = 2  # bytes of a return address on a chip of 32 kB
_HEAD = re.compile(r"^([0-9a-f]+) <(.+)>:$")
_LINE = re.compile(r"^\s+([0-9a-f]+):\t[0-9a-f ]+\t(\S+)\s*(.*)$")


class Function:
    """What it takes by itself, and what it calls: (name, whether it is a jump that leaves nothing behind)."""

    def __init__(self) -> None:
        self.own = 0
        self.calls: list[tuple[int, bool]] = []


def read(image: str) -> tuple[dict[int, Function], dict[int, str]]:
    """Functions and their names, by address."""
    listed = subprocess.run(["avr-objdump", "-d", image], capture_output=True, text=True, check=True).stdout
    functions: dict[int, Function] = {}
    names: dict[int, str] = {}
    current, framing = Function(), False
    for line in listed.splitlines():
        if head := _HEAD.match(line):
            current = functions.setdefault(int(head[1], 16), Function())
            names[int(head[1], 16)] = head[2]
        elif found := _LINE.match(line):
            word, rest = found[2], found[3]
            target = re.search(r"; 0x([0-9a-f]+)", rest) or re.match(r"0x([0-9a-f]+)", rest)
            rest = rest.split(";")[0].strip() if word == "in" else rest
            if word == "push":
                current.own += 1
            elif word == "rcall" and rest.startswith(".+0"):
                current.own += 2  # a frame of two bytes, made the short way
            elif word in ("call", "rcall", "jmp", "rjmp") and target:
                current.calls.append((int(target[1], 16), word.endswith("jmp")))
            elif word in ("icall", "eicall"):
                raise SystemExit(f"{line.strip()}: a call through a pointer cannot be followed")
            elif framing and word == "sbiw":
                current.own += _constant(rest)
            elif framing and word == "subi":
                current.own += _constant(rest)
                continue
            elif framing and word == "sbci":
                current.own += _constant(rest) << 8
            # The stack pointer was just read into r29:r28; what is taken off it now is the frame.
            framing = (word, rest) == ("in", "r29, 0x3e")
    return functions, names


def _constant(operands: str) -> int:
    return int(operands.split(",")[1].split(";")[0], 0)


def owner(functions: dict[int, Function], address: int) -> int:
    """The function that an address lies in."""
    return max(start for start in functions if start <= address)


def deepest(
    functions: dict[int, Function], names: dict[int, str], at: int, over: tuple[int, ...] = ()
) -> tuple[int, list[str]]:
    """Bytes from the entry of a function on, and the chain that takes them. Raises SystemExit at a recursion."""
    worst, chain = 0, list[str]()
    for target, jump in functions[at].calls:
        start = owner(functions, target)
        if start == at:
            if not jump:
                raise SystemExit(f"{names[at]} calls itself")
            continue
        if start in over:
            if jump:
                continue  # back into the loop that a part of a library's function was called from
            raise SystemExit(f"{names[at]} and {names[start]} call each other")
        depth, below = deepest(functions, names, start, (*over, at))
        depth += 0 if jump else BACK
        if depth > worst:
            worst, chain = depth, below
    return functions[at].own + worst, [f"{names[at]} {functions[at].own}", *chain]


def main(image: str) -> int:
    if not Path(image).is_file():
        print(f"no image {image}: run make", file=sys.stderr)
        return 2
    functions, names = read(image)
    address = {name: at for at, name in names.items()}
    from_main, chain = deepest(functions, names, address["main"])
    vectors = {name: at for name, at in address.items() if re.fullmatch(r"__vector_\d+", name)}
    interrupts = {name: deepest(functions, names, at) for name, at in vectors.items()}
    name, (in_interrupt, above) = max(interrupts.items(), key=lambda item: item[1][0])
    listed = subprocess.run(["avr-nm", image], capture_output=True, text=True, check=True).stdout
    end = next(int(line.split()[0], 16) & 0xFFFF for line in listed.splitlines() if line.split()[-1] == "_end")
    total = BACK + from_main + BACK + in_interrupt
    print(f"main       {BACK + from_main:4} bytes: {' > '.join(chain)}")
    print(f"interrupt  {BACK + in_interrupt:4} bytes: {' > '.join(above)} ({name})")
    print(f"stack      {total:4} bytes at most, {RAM_END - end} are free")
    return 0 if total <= RAM_END - end else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]) if len(sys.argv) == 2 else "stack.py IMAGE.elf")
