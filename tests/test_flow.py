"""Light flows one way: no room imports from a room further down, and what is pure reaches for nothing outside."""

from __future__ import annotations

import ast
import re
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import uvdose

ROOT = Path(uvdose.__file__).parent

# A room may import from itself and from the rooms named. Top-level modules are rooms of their own.
BASE = {"model", "units", "messages", "asked", "listed", "foretold", "__init__"}
ALLOWED: dict[str, set[str]] = {
    "__init__": set(),
    "model": set(),
    "units": BASE,
    "messages": BASE,
    "asked": BASE,
    "listed": BASE,
    "foretold": BASE,
    "notes": BASE,
    "queueing": BASE,
    "subjects": BASE | {"notes", "queueing"},
    "benches": BASE,
    "overlook": BASE | {"benches", "clock", "config", "intake", "stamps"},
    "clock": BASE,
    "stamps": BASE,
    "cells": set(),
    "settings_words": set(),
    "settings_bench": {"stamps", "settings_words"},
    "catalogue": BASE,
    "config": BASE | {"catalogue", "decode", "settings_bench", "settings_words"},
    "settings_edit": BASE | {"config"},
    "home": BASE | {"config"},
    "intake": BASE | {"config", "clock"},
    "decode": BASE | {"settings_words"},
    "dose": BASE | {"config"},
    "exposure": BASE | {"decode", "dose"},
    "calibrate": BASE | {"dose", "notes"},
    "light": BASE,
    "journal": BASE | {"clock", "stamps", "dose", "exposure", "notes"},
    "call": BASE | {"clock", "config", "exposure"},
    "web": BASE | {"clock", "stamps", "config", "home"},
    "review": BASE | {"cells", "stamps", "dose", "exposure", "calibrate", "journal", "light", "notes"},
    "bring": BASE | {"cells", "stamps", "config", "dose"},
    "ahead": BASE
    | {"stamps", "config", "dose", "exposure", "journal", "light", "notes", "placed", "queueing", "review"}
    | {"same_light"},
    "timeleft": BASE | {"apart", "dose", "exposure", "light", "settings_bench"},
    "placed": BASE | {"catalogue", "config", "light", "settings_bench"},
    "same_light": BASE | {"config", "exposure", "light", "placed"},
    "sunward": BASE | {"apart", "light", "placed", "settings_bench"},
    "whereabouts": BASE | {"config", "dose", "exposure", "light", "outlooks"},
    "core": BASE | {"clock", "stamps", "intake", "decode", "exposure", "journal", "call", "timeleft"},
    "upkeep": BASE | {"config", "core", "exposure", "home", "journal"},
    "notify": BASE,
    "service": BASE
    | {"call", "config", "core", "days", "dose", "exposure", "intake", "journal", "notes", "outlooks", "overlook"}
    | {"queueing", "same_light", "stamps", "subjects", "whereabouts"},
    "apart": set(),
    "days": BASE | {"apart", "clock", "stamps", "settings_bench"},
    "day_process": BASE | {"apart", "stamps", "days", "journal", "review"},
    "outlooks": BASE | {"apart", "clock", "config", "light"},
    "outlook_process": BASE | {"ahead", "apart", "stamps", "journal", "outlooks"},
    "daemon": {"*"},
    "cli": {"*"},
    "__main__": {"*"},
}
PURE = ("decode", "dose", "exposure", "calibrate", "light", "model", "units", "messages", "asked", "listed", "foretold",
        "notes", "queueing", "subjects", "benches")
PURE_MAY_USE = {
    "__future__", "array", "binascii", "bisect", "collections", "csv", "datetime", "enum", "fractions", "functools",
    "itertools", "json", "math", "msgspec", "operator", "re", "struct", "typing",
}
# Fitting and spectra are arithmetic on arrays: numpy has no side effects, and is loaded only by what needs it. Tables
# of processes and of spectral shapes come with the package.
PURE_MAY_ALSO_USE = {"calibrate": {"importlib", "numpy"}, "light": {"importlib", "numpy"}}


def _modules() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def _room(path: Path) -> str:
    first = path.relative_to(ROOT).parts[0]
    return first.removesuffix(".py")


def _imports(path: Path) -> list[tuple[int, str]]:
    """(depth of the relative import, module) of each import; depth 0 is absolute."""
    found: list[tuple[int, str]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            names = [node.module] if node.module else [a.name for a in node.names]
            found += [(node.level, name) for name in names if name]
        elif isinstance(node, ast.Import):
            found += [(0, a.name) for a in node.names]
    return found


def _target_room(path: Path, depth: int, module: str) -> str | None:
    if depth == 0:
        parts = module.split(".")
        return (parts[1] if len(parts) > 1 else "__init__") if parts[0] == "uvdose" else None
    inside = path.relative_to(ROOT).parts[:-1]
    up = inside[: len(inside) - (depth - 1)]
    name = (up[0] if up else module.split(".")[0])
    return name if (ROOT / name).is_dir() or (ROOT / f"{name}.py").exists() else "__init__"


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_flow_one_way(path: Path) -> None:
    room = _room(path)
    assert room in ALLOWED, f"room {room!r} is not in the drawn house: add it here and in DEVELOPERS.md"
    allowed = ALLOWED[room] | {room}
    against = []
    for depth, module in _imports(path):
        target = _target_room(path, depth, module)
        if target is not None and "*" not in allowed and target not in allowed:
            against.append(f"{room} imports {target}")
    assert not against


@pytest.mark.parametrize("path", [p for p in _modules() if _room(p) in PURE], ids=lambda p: str(p.relative_to(ROOT)))
def test_the_core_is_pure(path: Path) -> None:
    used = {module.split(".")[0] for depth, module in _imports(path) if depth == 0}
    assert used - {"uvdose"} <= PURE_MAY_USE | PURE_MAY_ALSO_USE.get(_room(path), set())


def _files_imported(path: Path) -> set[Path]:
    """The files of the package that one imports, wherever in it that stands."""
    inside = path.relative_to(ROOT).parts[:-1]
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.ImportFrom) or not node.level:
            continue
        folder = ROOT.joinpath(*inside[: len(inside) - (node.level - 1)], *(node.module or "").split("."))
        for name in (folder, *(folder / alias.name for alias in node.names)):
            found |= {file for file in (name.with_suffix(".py"), name / "__init__.py") if file.is_file()}
    return found - {path}


def test_no_file_imports_itself_by_way_of_others() -> None:
    """Not within functions and not for types alone either: what goes round in a circle is one thing in many files."""
    # A bench hands itself to these two, which take its acts and its lines in; only the types lead back.
    back = {(ROOT / "exposure" / name, ROOT / "exposure" / "bench.py") for name in ("button.py", "runs.py")}
    graph = {path: {to for to in _files_imported(path) if (path, to) not in back} for path in _modules()}
    assert sum(map(len, graph.values())) > len(graph)
    TopologicalSorter(graph).prepare()  # raises CycleError, which names the circle


def test_what_is_allowed_is_needed() -> None:
    """A way that nothing takes any more is closed."""
    taken: dict[str, set[str | None]] = {room: set() for room in ALLOWED}
    for path in _modules():
        taken[_room(path)] |= {_target_room(path, depth, module) for depth, module in _imports(path)}
    idle = {room: ways - BASE - {"*"} - taken[room] for room, ways in ALLOWED.items()}
    assert {room: ways for room, ways in idle.items() if ways} == {}


def test_modules_stay_small() -> None:
    sizes = {str(p.relative_to(ROOT)): len(p.read_text(encoding="utf-8").splitlines()) for p in _modules()}
    assert {name: lines for name, lines in sizes.items() if lines > 300} == {}


def test_the_house_is_drawn_as_it_stands() -> None:
    """DEVELOPERS.md names each room with its modules, and each module beside the rooms; none that is gone."""
    drawn = (ROOT.parent / "DEVELOPERS.md").read_text(encoding="utf-8").split("## The house")[1].split("```")[1]
    drawn = drawn.split("\n firmware_notes/")[0]
    named = set(re.findall(r"\b([a-z_]+)\.py\b", drawn))
    beside = {p.stem for p in ROOT.glob("*.py")} - {"__init__", "__main__"}
    assert beside ^ named == set()
    rooms = {p.name for p in ROOT.iterdir() if (p / "__init__.py").is_file()}
    told = dict(re.findall(r"^ ([a-z]+)/ +(.*\n(?:   .*\n)*)", drawn, re.MULTILINE))
    assert set(told) == rooms
    for room in rooms - {"cli"}:  # there a file is a group of commands, and cli/tree.py lists them
        files = {p.stem for p in (ROOT / room).glob("*.py")} - {"__init__"}
        assert files - set(re.findall(r"\w+", told[room])) == set(), f"say what these are, in the room {room}"


def test_only_clock_reads_time() -> None:
    pattern = re.compile(r"\btime\.(time|monotonic|perf_counter|clock_gettime)|datetime\.(now|utcnow)\(|date\.today\(")
    readers = [p.name for p in _modules() if p.name != "clock.py" and pattern.search(p.read_text(encoding="utf-8"))]
    assert readers == []


def test_the_check_itself_can_fail() -> None:
    """An import against the flow is seen: dose from journal, and a relative one two rooms up."""
    path = ROOT / "dose" / "account.py"
    assert _target_room(path, 2, "journal.store") == "journal"
    assert "journal" not in ALLOWED["dose"]
    assert _target_room(path, 1, "response") == "dose"
