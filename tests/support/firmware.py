"""The reference firmware, built once: its real image, the simulated chip, and its core with this machine's compiler.

All lies in one folder below the system's temporary one, named by what it is built from, so that several runs share it.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from functools import cache
from pathlib import Path

from .needs import missing, program

ROOT = Path(__file__).parents[2]
AVR = ROOT / "firmware_notes" / "avr"
HOST = ROOT / "tests" / "firmware" / "host"
DAY_S = 86400.0
STRICT = ["-std=gnu11", "-Wall", "-Wextra", "-Werror"]
CHECKED = [*STRICT, "-D_GNU_SOURCE", "-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"]


@cache
def image() -> Path:
    """The folder of the real image: node.elf, node.hex, objects."""
    program("avr-gcc")
    return _built("image", _make_image)


@cache
def chip_program() -> Path:
    """The simulated chip."""
    program("gcc")
    if not Path("/usr/include/simavr/sim_avr.h").exists():
        missing("libsimavr-dev", "tests/run installs it from the distribution's packages")
    return _built("chip", _make_chip) / "chip"


@cache
def host_program(name: str) -> Path:
    """`drive`, `unit` or `fuzz`: the core with one of tests/firmware/host, checked for faults as it runs."""
    program("gcc")
    return _built(name, lambda folder: _make_host(name, folder)) / name


@cache
def symbol(name: str) -> int:
    """Where a variable of the image lies in RAM."""
    listed = _run([program("avr-nm"), str(image() / "node.elf")])
    address = next(line.split()[0] for line in listed.splitlines() if line.split()[-1] == name)
    return int(address, 16) & 0xFFFF


def stack_report() -> str:
    """What `make stack` prints."""
    return _run([sys.executable, str(AVR / "stack.py"), str(image() / "node.elf")])


def _make_image(folder: Path) -> None:
    _run([program("make"), "-C", str(AVR), f"BUILD={folder}", "WERROR=-Werror"])


def _make_chip(folder: Path) -> None:
    sources = [str(HOST / name) for name in ("chip.c", "light.c", "wire.c")]
    _run([program("gcc"), *STRICT, "-O2", *sources, "-o", str(folder / "chip"), "-lsimavr"])


def _make_host(name: str, folder: Path) -> None:
    core = sorted(str(path) for path in (AVR / "core").glob("*.c"))
    _run([program("gcc"), *CHECKED, f"-I{AVR}", str(HOST / f"{name}.c"), *core, "-o", str(folder / name)])


def _built(what: str, make: object) -> Path:
    """The folder of one product, made unless it is there. Others may make it at the same time: the first one counts."""
    digest = hashlib.sha256(what.encode())
    for path in sorted([*AVR.rglob("*.[ch]"), AVR / "Makefile", *HOST.glob("*.[ch]")]):
        digest.update(path.relative_to(ROOT).as_posix().encode() + b"\0" + path.read_bytes())
    home = Path(tempfile.gettempdir()) / f"uvdose-firmware-{os.getuid()}"
    home.mkdir(mode=0o700, exist_ok=True)
    if home.stat().st_uid != os.getuid():
        raise PermissionError(f"{home} is somebody else's: remove it")
    found = home / f"{what}-{digest.hexdigest()[:16]}"
    if not found.exists():
        for old in home.iterdir():
            if time.time() - old.stat().st_mtime > DAY_S:
                shutil.rmtree(old, ignore_errors=True)
        fresh = Path(tempfile.mkdtemp(dir=home))
        make(fresh)  # type: ignore[operator]
        try:
            fresh.rename(found)
        except OSError:
            shutil.rmtree(fresh, ignore_errors=True)
            assert found.exists()
    return found


def _run(words: list[str]) -> str:
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(words)}\n{done.stdout}{done.stderr}"
    return done.stdout
