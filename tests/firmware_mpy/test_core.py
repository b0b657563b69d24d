"""The firmware's pure files: each case under CPython, and in MicroPython itself. See `cases/`."""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from support.micronode import FIRMWARE, ROOT, STANDIN, interpreter

CASES = Path(__file__).with_name("cases")
VECTORS = ROOT / "shared" / "wire" / "vectors.json"
DEFINED = [
    line[4:].split("(")[0]
    for file in sorted(CASES.glob("of_*.py"))
    for line in file.read_text().splitlines()
    if line.startswith(("def case_", "def board_case_"))
]
NAMES = [name for name in DEFINED if name.startswith("case_")]
ONLY_INSIDE = [name for name in DEFINED if name.startswith("board_case_")]
FUZZ = 300_000 if os.environ.get("UVDOSE_LONG") else 10_000


@pytest.fixture(scope="module")
def inside() -> dict[str, str]:
    """Every case in MicroPython: its name, and what went wrong."""
    words = [interpreter(), str(CASES / "run.py"), str(VECTORS), str(FUZZ)]
    env = os.environ | {"MICROPYPATH": f"{FIRMWARE}:{STANDIN}:.frozen"}
    done = subprocess.run(words, env=env, capture_output=True, text=True, timeout=110)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(line) for line in done.stdout.splitlines())


@pytest.fixture(scope="module")
def cases() -> dict[str, Callable[[], None]]:
    """The cases under CPython. The board's files have short names: they leave no trace among the modules."""
    folders = [FIRMWARE, STANDIN, CASES]
    # `machine` and `network` of the stand-in are never asked for: the pure files know no board.
    names = {file.stem for folder in folders for file in folder.glob("*.py")}
    path, others = list(sys.path), {name: sys.modules.pop(name) for name in names & set(sys.modules)}
    sys.path[:0] = map(str, folders)
    try:
        run = importlib.import_module("run")
        run.common.HOW.update(vectors=str(VECTORS), fuzz=FUZZ)
        assert not {"machine", "network", "main", "board"} & set(sys.modules)
        return {name: case for module in run.MODULES for name, case in vars(module).items()}
    finally:
        sys.path[:] = path
        for name in names & set(sys.modules):
            del sys.modules[name]
        sys.modules.update(others)


def test_all_cases_ran_in_micropython(inside: dict[str, str]) -> None:
    assert sorted(inside) == sorted(NAMES + ONLY_INSIDE) and len(NAMES) > 30


@pytest.mark.parametrize("name", NAMES + ONLY_INSIDE)
def test_in_micropython(inside: dict[str, str], name: str) -> None:
    assert inside[name] == ""


@pytest.mark.parametrize("name", NAMES)
def test_in_cpython(cases: dict[str, Callable[[], None]], name: str) -> None:
    cases[name]()
