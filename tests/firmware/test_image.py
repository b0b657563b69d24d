"""What the image takes of the chip: flash, memory, and a stack that its calls bound and the chip measures."""

from __future__ import annotations

import itertools
import json
import re
import subprocess
import sys
from pathlib import Path

from support.chip import Chip, Talk
from support.firmware import AVR, ROOT, image, stack_report, symbol
from support.needs import program

sys.path.insert(0, str(AVR))
from stack import read

FLASH, RAM, RAM_END = 32 * 1024, 2048, 0x900
BOOTLOADER = 2048  # the largest of the part's boot sections (data sheet); one that fits 512 bytes is usual
BOOT_BUFFER_END = 0x200  # a bootloader gathers a page at the start of memory: what is kept must lie above it


def _sizes() -> dict[str, int]:
    words = [program("avr-size"), "-A", str(image() / "node.elf")]
    listed = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    rows = (line.split() for line in listed.splitlines() if line.startswith("."))
    return {row[0]: int(row[1]) for row in rows}


def test_it_fits_with_room_for_a_bootloader() -> None:
    size = _sizes()
    flash, ram = size[".text"] + size[".data"], size[".data"] + size[".bss"] + size[".noinit"]
    print(f"\nflash {flash}, memory {ram}")
    assert flash <= (FLASH - BOOTLOADER) / 2, "half of it is left"
    assert ram <= 0.65 * RAM


def test_what_is_kept_lies_where_no_reset_writes() -> None:
    keep, end = symbol("keep"), symbol("_end")
    assert keep >= BOOT_BUFFER_END and end < RAM_END - 600


def test_the_stack_is_bounded_and_the_bound_holds_on_the_chip(tmp_path: Path) -> None:
    report = stack_report()
    bound, free = map(int, re.findall(r"stack +(\d+) bytes at most, (\d+) are free", report)[0])
    assert bound < free / 2
    vectors = json.loads((ROOT / "shared" / "wire" / "vectors.json").read_text(encoding="utf-8"))
    with Chip(tmp_path / "port") as chip:
        boot = chip.readings()[-1].boot
        chip.power_cycle(paint=True)
        chip.wait_for(lambda: chip.readings()[-1].boot != boot, 5, "a line of the painted boot")
        with Talk(chip) as talk:
            chip.light(1100)
            talk.ask("rate 10")
            for vector in [*vectors["commands"], *vectors["commands"]]:
                talk.answer(vector["line"].encode())
            for line in vectors["refused_commands"]:
                talk.answer(line.encode("latin-1") + b"\n")
            talk.ask(f"arm 1 {talk.now().register + 10_000} 4")
            chip.press()
            talk.wait_lines(8)
        used, room = chip.stack_bytes()
    print(f"\n{report}measured {used}")
    assert room == free
    assert 0.5 * bound < used <= bound


def test_the_bound_is_no_lower_than_the_compilers_own_figures() -> None:
    """-fstack-usage tells each function's frame with the two bytes of its return: what is read out of the image must
    hold that, function by function."""
    functions, names = read(str(image() / "node.elf"))
    own = {names[at]: function.own for at, function in functions.items()}
    lines = itertools.chain.from_iterable(p.read_text().splitlines() for p in image().rglob("*.su"))
    compared = 0
    for line in lines:
        where, told, _ = line.split("\t")
        name = where.rsplit(":", 1)[1]
        if name in own and name != "main":
            compared += 1
            assert own[name] + 2 >= int(told), name
    assert compared > 40


def test_the_core_knows_nothing_of_the_chip() -> None:
    """No header of the part, no clock, no heap, no printf: that is why it runs on any machine."""
    core = sorted((AVR / "core").glob("*.[ch]"))
    assert len(core) >= 15
    for path in core:
        text = path.read_text(encoding="utf-8")
        included = set(re.findall(r"#include <(.+?)>", text))
        assert included <= {"stdint.h", "stdbool.h", "stddef.h", "string.h"}, path
        assert not re.search(r"\b(malloc|calloc|free|realloc|s?n?printf|float|double)\b\s*\(?", _code(text)), path
        assert len(text.splitlines()) <= 300


def _code(text: str) -> str:
    return re.sub(r'/\*.*?\*/|"(\\.|[^"])*"', "", text, flags=re.DOTALL)
