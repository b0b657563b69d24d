"""Editions by commands: planned, exposed sheet by sheet and layer by layer, looked back at, refused."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from typing import Any

import pytest

from .conftest import SIMULATED, Daemon


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    daemon = Daemon(tmp_path_factory.mktemp("editions") / "home", SIMULATED, 60)
    try:
        daemon.wait_live()
        for name, dose in (("blue", 60), ("brown", 30), ("gone", 20)):
            assert daemon.call("target", "set", name, "--dose", dose, "--lead", 0).code == 0
        assert daemon.call("target", "retire", "gone", "--reason", "sold out").code == 0
        yield daemon
    finally:
        daemon.stop()


def _print(bench: Daemon, *words: object, past: float = 1.0) -> dict[str, Any]:
    """Expose, and finish when so much of the target is there."""
    begun = bench.told("expose", *words, "--frame", f"f{time.monotonic_ns()}")
    end = time.monotonic() + 20
    while next(e for e in bench.told("status")["exposures"] if e["id"] == begun["id"])["fraction"] < past:
        assert time.monotonic() < end
    done: dict[str, Any] = bench.told("finish", begun["id"])
    return done


def test_two_sheets_of_two_layers(bench: Daemon) -> None:
    planned = bench.told("edition", "plan", "fair", "--prints", 2, "--target", "blue", "--target", "brown",
                    "--limit", 1, "--note", "for the fair")  # fmt: skip
    assert planned["next"] == {"sheet": 1, "layer": 1} and planned["done"] == {}
    assert [layer["target"] for layer in planned["edition"]["layers"]] == ["blue", "brown"]
    first = _print(bench, "--edition", "fair")
    assert first["part"] == {"kind": "edition", "name": "fair", "sheet": 1, "layer": 1} and first["target"] == "blue"
    assert bench.told("target", "set", "blue", "--dose", 80)["version"] == 2
    second = _print(bench, "--edition", "fair", past=2.5)
    assert (second["part"]["sheet"], second["target_version"], second["target_dose"]) == (2, 1, 60.0)
    third = _print(bench, "--edition", "fair", "brown")
    assert (third["part"]["sheet"], third["part"]["layer"], third["target"]) == (1, 2, "brown")
    bench.call("expose", "--edition", "fair", "blue").refused(2, "layer 2", "brown", "leave blue out")

    shown = bench.told("edition", "show", "fair")
    assert shown["next"] == {"sheet": 2, "layer": 2} and set(shown["done"]) == {"1/1", "2/1", "1/2"}
    blue, brown = shown["spreads"]
    stops = [math.log2(shown["done"][f"{s}/1"]["dose"] / 60) for s in (1, 2)]
    assert blue["prints"] == 2 and blue["mean_stops"] == pytest.approx(sum(stops) / 2)
    assert blue["spread_stops"] == pytest.approx(abs(stops[1] - stops[0]) / math.sqrt(2))
    beyond = [sheet for sheet, off in enumerate(stops, 1) if abs(off) > 1]
    assert blue["beyond"] == beyond and beyond[-1:] == [2] and brown["prints"] == 1 and brown["spread_stops"] is None
    text = " ".join(bench.call("edition", "show", "fair").out.split())
    assert f"beyond the limit: sheet {', '.join(map(str, beyond))}" in text
    assert "target blue is at v2 by now; this edition keeps v1" in text
    clocked = bench.told("edition", "show", "fair", "--by-clock")["by_clock"]
    assert [(c["layer"], c["first"]) for c in clocked] == [(1, 1), (2, 1)] and set(clocked[0]["stops"]) == {"1", "2"}

    assert bench.call("undo", second["id"]).code == bench.call("undo", second["id"]).code == 0, "finish, then start"
    assert bench.told("edition", "show", "fair")["next"] == {"sheet": 2, "layer": 1}, "what is void is to be made"
    again = bench.told("edition", "plan", "fair", "--prints", 1, "--target", "blue", "--again")
    assert again["edition"]["layers"][0]["version"] == 2 and again["next"] is None
    bench.call("expose", "--edition", "fair").refused(4, "complete")
    assert _print(bench, "--edition", "fair", "--sheet", 1, "--layer", 1)["part"]["sheet"] == 1
    assert [e["name"] for e in bench.told("edition", "list")] == ["fair"]
    assert "fair" in bench.call("edition", "list").out and "complete" in bench.call("edition").out


@pytest.mark.parametrize(("words", "code", "why"), [
    (("plan", "e"), 2, "--prints"), (("plan", "e", "--prints", "3"), 2, "--target"),
    (("plan", "e", "--prints", "0", "--target", "brown"), 2, "1 to 1000"),
    (("plan", "e", "--prints", "3", "--target", "violet"), 4, "no target"),
    (("plan", "e", "--prints", "3", "--target", "gone"), 4, "target gone is retired (sold out)"),
    (("plan", "e f", "--prints", "3", "--target", "brown"), 2, "letters"),
    (("plan", "e", "--prints", "3", "--target", "brown", "--limit", "nan"), 2, "limit"),
    (("plan", "e", "--prints", "3", "--target", "brown", "--note", "a\tb"), 2, "printable"),
    (("plan", "e", "--prints", "3", *["--target", "brown"] * 21), 2, "1 to 20"),
    (("plan", "held", "--prints", "3", "--target", "brown"), 2, "there already: another name, or --again"),
    (("show", "e"), 4, "no edition 'e'; known: "), (("show",), 2, "NAME"),
])  # fmt: skip
def test_bad_input(bench: Daemon, words: tuple[str, ...], code: int, why: str) -> None:
    _held(bench)
    before = bench.call("edition", "list", "--json").out
    bench.call("edition", *words).refused(code, why)
    assert bench.call("edition", "list", "--json").out == before


@pytest.mark.parametrize(("words", "code", "why"), [
    (("--sheet", "99"), 2, "sheets 1 to 2 and layers 1 to 1"), (("--sheet", "0"), 2, "sheets 1 to 2"),
    (("--layer", "0"), 2, "layers 1 to 1"), (("--sheet", "-1"), 2, "sheets 1 to 2"),
    (("--layer", "2"), 2, "layers 1 to 1"),
])  # fmt: skip
def test_places_that_are_none(bench: Daemon, words: tuple[str, ...], code: int, why: str) -> None:
    _held(bench)
    bench.call("expose", "--edition", "held", *words).refused(code, why)
    bench.call("expose", "brown", *words).refused(2, "go with --edition")
    bench.call("expose", "--edition", "none", *words).refused(4, "no edition 'none'")


def test_a_sheet_in_the_light_is_not_begun_twice(bench: Daemon) -> None:
    _held(bench)
    begun = bench.told("expose", "--edition", "held", "--frame", "long")
    bench.call("expose", "--edition", "held", "--sheet", 1).refused(4, f"exposure {begun['id']}")
    assert bench.call("undo", begun["id"]).code == 0


def test_a_retired_target_starts_no_older_version_of_an_edition(bench: Daemon) -> None:
    assert bench.call("target", "set", "sky", "--dose", 50).code == 0
    assert bench.call("edition", "plan", "skies", "--prints", 2, "--target", "sky").code == 0
    assert bench.call("target", "retire", "sky", "--reason", "faded").code == 0
    bench.call("expose", "--edition", "skies").refused(4, "target sky is retired (faded)")
    assert bench.call("target", "set", "sky", "--dose", 60).code == 0
    begun = bench.told("expose", "--edition", "skies")
    assert begun["target_version"] == 1, "in use again, and the edition keeps its version"
    assert bench.call("undo", begun["id"]).code == 0


def _held(bench: Daemon) -> None:
    if "held" not in bench.call("edition", "list").out:
        assert bench.call("edition", "plan", "held", "--prints", 2, "--target", "brown").code == 0
