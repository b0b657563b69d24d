"""The scale of a sensor by common light: the figures against numpy and scipy on seeded data, and the command beside a
real daemon with two nodes on real ptys, whose true ratio the test knows. All light is invented.
"""

from __future__ import annotations

import json
import threading
import time
import tomllib

import numpy as np
import pytest
import scipy.stats
from cli.conftest import Daemon, argv, environment
from numpy.typing import NDArray
from support.screentalk import ScreenTalk

from uvdose.calibrate.common_light import BLOCKS, of_known, ratio, together
from uvdose.config import Home
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.model import MomentReading, Reading, Refusal
from uvdose.notes import ScaleTaken

from .conftest import Quiet

TRUE = 0.0125
Values = NDArray[np.float64]


def _clouds(rng: np.random.Generator, n: int) -> Values:
    """Light that wanders between a third and all of the sun."""
    steps = np.cumsum(rng.normal(0, 0.15, n))
    return np.asarray(400 + 250 * np.sin(steps), dtype=np.float64)


def _wandering(rng: np.random.Generator, n: int, sd: float) -> Values:
    """What does not reach both alike: neighbouring seconds are alike, so that single ones are worth less than they
    seem."""
    e = rng.normal(0, 1, n + 50)
    for i in range(1, n + 50):
        e[i] = 0.7 * e[i - 1] + e[i]
    return np.asarray(sd * e[50:] * np.sqrt(1 - 0.49), dtype=np.float64)


def test_ratio_and_interval_as_numpy_and_scipy_have_them() -> None:
    rng = np.random.default_rng(3)
    x = _clouds(rng, 120)
    y = TRUE * x * (1 + _wandering(rng, 120, 0.01))
    found = ratio(x, y, 1.0, {})
    slope, *_ = np.linalg.lstsq(x[:, None], y, rcond=None)
    assert found.scale == pytest.approx(float(slope[0]), rel=1e-12)
    blocks = [(a, b) for a, b in zip(np.array_split(x, BLOCKS), np.array_split(y, BLOCKS), strict=True)]
    of_each = np.array([np.linalg.lstsq(a[:, None], b, rcond=None)[0][0] for a, b in blocks])
    weights = np.array([np.sum(a**2) for a, _ in blocks])
    weights /= weights.sum()
    u = np.sqrt(np.sum(weights**2 * (of_each - found.scale) ** 2) * BLOCKS / (BLOCKS - 1))
    z = x * (y - found.scale * x)
    rho = np.correlate(z, z, "full")[len(z)] / np.dot(z, z)
    rho += (1 + 3 * rho) / len(z)
    u = max(u, float(np.sqrt(np.dot(z, z) * (1 + rho) / (1 - rho)) / np.dot(x, x)))
    half = scipy.stats.t.ppf(0.975, BLOCKS - 1) * u
    # Student's quantile is expanded in powers of 1/dof (dose.uncertainty), good to 0.3 % there
    assert (found.high - found.low) / 2 == pytest.approx(half, rel=4e-3)
    assert found.apart == pytest.approx(np.sqrt(np.mean((y - found.scale * x) ** 2)) / np.mean(y), rel=1e-9)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(17)
    held = 0
    for _ in range(1000):
        x = _clouds(rng, 120)
        found = ratio(x + rng.normal(0, 1.0, 120), TRUE * x * (1 + _wandering(rng, 120, 0.02)), 1.0, {})
        held += found.low <= TRUE <= found.high
    print(f"\nthe interval of a scale holds the truth in {held / 10:.1f} % of 1000")
    assert 935 <= held <= 985


def test_other_uncertainties_combine_in_quadrature() -> None:
    """JCGM 100:2008, 5.1.2, and the effective degrees of freedom of G.4.1, by scipy's t."""
    rng = np.random.default_rng(4)
    x = _clouds(rng, 120)
    y = TRUE * x * (1 + rng.normal(0, 0.01, 120))
    alone, more = ratio(x, y, 1.0, {}), ratio(x, y, 1.0, {"other's scale": 0.03, "zero": 0.004})
    u = float(np.sqrt(alone.fit_u**2 + 0.03**2 + 0.004**2))
    assert more.u == pytest.approx(u) and more.scale == alone.scale
    dof = u**4 / (alone.fit_u**4 / (BLOCKS - 1))
    assert more.high / more.scale - 1 == pytest.approx(scipy.stats.t.ppf(0.975, dof) * u, rel=4e-3)


def test_who_does_not_follow_is_refused() -> None:
    rng = np.random.default_rng(8)
    x = _clouds(rng, 120)
    with pytest.raises(Refusal, match="do not follow each other"):
        ratio(x, TRUE * _clouds(rng, 120), 1.0, {})
    with pytest.raises(Refusal, match="do not follow each other"):  # a branch over one of them
        ratio(x, TRUE * np.where(np.arange(120) > 60, 0.7, 1.0) * x, 1.0, {})
    with pytest.raises(Refusal, match="only 20 means"):
        ratio(x[:20], x[:20], 1.0, {})
    with pytest.raises(Refusal, match="no light"):
        ratio(np.zeros(60), x[:60], 1.0, {})
    with pytest.raises(Refusal, match="do not follow"):  # a lamp of known strength that was not steady
        of_known(x, 5.0, 1.0, {})


def test_means_of_the_same_seconds() -> None:
    fast: list[tuple[int, Reading]] = [(i * 100_000, MomentReading(float(i // 10))) for i in range(400)]
    slow: list[tuple[int, Reading]] = [(i * 1_000_000 + 500_000, MomentReading(float(i))) for i in range(40)]
    x, y, mean_s = together(fast, slow)
    assert mean_s == 2.0 and len(x) == len(y) == 18
    assert np.allclose(x, y)


def _note(bench: Daemon) -> ScaleTaken | None:
    return Store(open_reading(Home(bench.folder).journal_file)).notes(ScaleTaken).get("sill")


class _Sky:
    """One light over both sensors: sill sees so many counts as makes 0.0125 mW/cm² each, roof 0.004."""

    def __init__(self, sill: Quiet, roof: Quiet) -> None:
        self.ends = threading.Event()
        self.lamps = ((sill, 0.0125), (roof, 0.004))
        self._thread = threading.Thread(target=self._run)

    def _run(self) -> None:
        rng = np.random.default_rng(2)
        while not self.ends.is_set():
            light = 5.0 + 2.0 * float(np.sin(time.monotonic() / 2)) + float(rng.normal(0, 0.01))
            for lamp, per_count in self.lamps:
                lamp.counts = light / per_count
            self.ends.wait(0.02)

    def __enter__(self) -> _Sky:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.ends.set()
        self._thread.join()


def test_against_a_sensor_beside_it(two: tuple[Daemon, Quiet], lamp: Quiet) -> None:
    bench, roof = two
    lamp.sd = roof.sd = 0.5
    bench.call("target", "set", "blue", "--dose", 80000, "--unit", "counts.s", "--sensor", "sill")
    with _Sky(lamp, roof):
        words = "sensor", "scale", "sill", "--against", "roof", "--seconds", 60
        done = bench.run(*words)
        assert done.code == 0 and done.out.endswith("nothing was changed; --yes stores it\n"), done
        assert "scale" not in tomllib.loads((bench.folder / "uvdose.toml").read_text())["sensor"][0]
        done = bench.run(*words, "--yes", "--json")
    told = json.loads(done.out)
    assert done.code == 0 and told["against"] == "roof", done
    # the two are read by loops of their own, so that a mean of one reaches a little beyond the other's
    assert told["low"] < 0.0125 < told["high"] and abs(told["scale"] / 0.0125 - 1) < 0.02
    kept = tomllib.loads((bench.folder / "uvdose.toml").read_text())["sensor"][0]
    assert kept["scale"] == pytest.approx(told["scale"], rel=1e-5)
    note = _note(bench)
    assert note is not None and note.scale == told["scale"] and note.old_scale is None
    now = json.loads(bench.call("status", "--json").out)["sensors"][0]
    assert now["unit"] == "mW/cm2" and 2.5 < now["irradiance"] < 7.6
    assert bench.told("target", "show", "blue")[-1]["void"] == [f"scale was none, is {kept['scale']}"]
    assert bench.call("target", "confirm", "blue", "--convert", "--reason", "same sensor").code == 0
    made = bench.told("target", "show", "blue")[-1]
    assert made["unit"] == "mJ/cm2" and made["dose"] == pytest.approx(80000 * kept["scale"]) and made["void"] == []
    assert json.loads(bench.call("expose", "blue", "--sensor", "sill", "--json").out)["target_version"] == 2


def test_a_known_light_and_what_is_refused(two: tuple[Daemon, Quiet], lamp: Quiet) -> None:
    bench, roof = two
    lamp.counts, lamp.sd, roof.counts = 400.0, 1.0, 900.0
    time.sleep(0.5)
    done = bench.run("sensor", "scale", "sill", "--known", 5, "--known-u", 4, "--seconds", 40, "--yes")
    assert done.code == 0 and "sill: scale 0.0125 mW/cm² per count (" in done.out, done
    note = _note(bench)
    assert note is not None and note.known == 5 and note.u == pytest.approx(np.hypot(0.04, 0.005), rel=0.02)
    assert note.high / note.scale - 1 == pytest.approx(1.96 * note.u, rel=0.02)
    for words, code, word in (
        (("sill",), 2, "--against SENSOR, or --known"), (("sill", "--known", 5, "--against", "roof"), 2, "--against"),
        (("sill", "--known", "nan"), 2, "--known"), (("sill", "--against", "attic"), 2, "no sensor 'attic'"),
        (("attic", "--known", 5), 2, "no sensor 'attic'"), (("sill", "--against", "sill"), 2, "itself"),
        (("sill", "--known", 5, "--known-u", 80), 2, "--known-u"),
        (("sill", "--against", "roof", "--known-u", 5), 2, "goes"),
    ):  # fmt: skip
        bench.call("sensor", "scale", *words).refused(code, word)
    talk = ScreenTalk(argv("sensor", "scale", "sill", "--against", "roof", "--home", bench.folder),
                      environment(TERM="xterm"))  # fmt: skip
    try:
        talk.wait_for("Lay both beside each other, level")
        talk.wait_for(r"done\? press Enter")
        talk.send("\r")
        # 900 x 0.004 / 400 = 0.009, to what the noise of both leaves
        talk.wait_for(r"sill: scale 0\.00(?:8[89]|90|9)\d* mW/cm² per count \(0.00\d+-0.00\d+\), against roof", 30)
        talk.wait_for(r"was 0.0125: the same light now reads 0.7\d+ times that")
        talk.wait_for(r"store it \[y/N\]")
        talk.send("y\r")
        talk.wait_for("stored; the daemon goes by it from now on")
        assert talk.wait() == 0
    finally:
        talk.close()
    lamp.counts = 2000.0
    bench.run("sensor", "scale", "sill", "--known", 5, "--seconds", 40).refused(4, "at full scale")
    lamp.counts = 3.0
    bench.run("sensor", "scale", "sill", "--known", 5, "--seconds", 40).refused(4, "too little light")
