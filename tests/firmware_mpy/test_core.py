"""The firmware's pure files: each case under CPython, and in MicroPython itself. See `core_cases.py`."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest
from support.micronode import FIRMWARE, ROOT, STANDIN, interpreter

CASES = Path(__file__).with_name("core_cases.py")
VECTORS = ROOT / "shared" / "wire" / "vectors.json"
DEFINED = [line[4:].split("(")[0] for line in CASES.read_text().splitlines() if line.startswith("def ")]
NAMES = sorted(name for name in DEFINED if name.startswith("case_"))
ONLY_INSIDE = [name for name in DEFINED if name.startswith("board_case_")]
FUZZ = 300_000 if os.environ.get("UVDOSE_LONG") else 10_000


@pytest.fixture(scope="module")
def inside() -> dict[str, str]:
    """Every case in MicroPython: its name, and what went wrong."""
    words = [interpreter(), str(CASES), str(VECTORS), str(FUZZ)]
    env = os.environ | {"MICROPYPATH": f"{FIRMWARE}:{STANDIN}:.frozen"}
    done = subprocess.run(words, env=env, capture_output=True, text=True, timeout=110)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(line) for line in done.stdout.splitlines())


@pytest.fixture(scope="module")
def cases() -> ModuleType:
    """The cases under CPython. The board's files have short names: they leave no trace among the modules."""
    before, path = dict(sys.modules), list(sys.path)
    # `machine`, `network` and `time` of the stand-in are never imported here: the pure files do not ask for them.
    sys.path[:0] = [str(FIRMWARE), str(STANDIN), str(CASES.parent)]
    try:
        import core_cases  # type: ignore[import-not-found]

        core_cases.HOW.update(vectors=str(VECTORS), fuzz=FUZZ)
        return core_cases  # type: ignore[no-any-return]
    finally:
        sys.path[:] = path
        for name in set(sys.modules) - set(before):
            if Path(getattr(sys.modules[name], "__file__", None) or "/").parent in (FIRMWARE, STANDIN, CASES.parent):
                del sys.modules[name]


def test_all_cases_ran_in_micropython(inside: dict[str, str]) -> None:
    assert sorted(inside) == sorted(NAMES + ONLY_INSIDE) and len(NAMES) > 30


@pytest.mark.parametrize("name", NAMES + ONLY_INSIDE)
def test_in_micropython(inside: dict[str, str], name: str) -> None:
    assert inside[name] == ""


@pytest.mark.parametrize("name", NAMES)
def test_in_cpython(cases: ModuleType, name: str) -> None:
    case: Callable[[], None] = getattr(cases, name)
    case()
