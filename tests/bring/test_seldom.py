"""The day of a recording whose readings lie a minute and more apart: its light is all there, and it had no pauses.

Oracle: the sum of the file's own means, and the half sine's integral (2/pi of its height over its length).
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest
from cli.conftest import Homed

BEGIN_S, LENGTH_S, HEIGHT = 1_782_021_600, 12 * 3600, 4.0  # 2026-06-21T06:00:00Z (date -u -d @1782021600)


def wave(second: float) -> float:
    return HEIGHT * math.sin(math.pi * second / LENGTH_S)


@pytest.mark.parametrize(("step_s", "jitter_s"), [(60, 0.0), (60, 0.9), (75, 0.0), (600, 0.0)])
@pytest.mark.parametrize("means", [False, True])
def test_its_light_is_all_there(tmp_path: Path, step_s: int, jitter_s: float, means: bool) -> None:
    rng = random.Random(step_s)
    at = [k * step_s + jitter_s * rng.random() for k in range(LENGTH_S // step_s + 1)]
    file = tmp_path / "roof.csv"
    file.write_text("unix,uva\n" + "".join(f"{BEGIN_S + t:.3f},{max(0.0, wave(t)):.6f}\n" for t in at),
                    encoding="utf-8")  # fmt: skip
    home = Homed(tmp_path / "home")
    how = ("--means", f"{step_s}s", "--stamped", "end") if means else ()
    assert home.call("import", file, "--unit", "mW/cm2", *how).code == 0
    day = home.told("day", "2026-06-21")
    [light], [health] = day["sensors"], day["health"]
    assert light["dose"] == pytest.approx(2 / math.pi * HEIGHT * LENGTH_S, rel=2e-3)
    lit_s = LENGTH_S + (step_s if means else 0)  # the first mean tells of the stretch before it, too
    assert light["minutes"] == pytest.approx(lit_s / 60, rel=1e-3)
    assert light["mean"] == pytest.approx(2 / math.pi * HEIGHT * LENGTH_S / lit_s, rel=2e-3)
    assert health["holes"] == 0


def test_a_real_pause_of_a_seldom_sensor_is_told(tmp_path: Path) -> None:
    file = tmp_path / "roof.csv"
    at = [k * 300 for k in range(100) if not 40 <= k < 52]
    file.write_text("unix,uva\n" + "".join(f"{BEGIN_S + t},2\n" for t in at), encoding="utf-8")
    home = Homed(tmp_path / "home")
    assert home.call("import", file, "--unit", "mW/cm2").code == 0
    day = home.told("day", "2026-06-21")
    [light], [health] = day["sensors"], day["health"]
    assert (health["holes"], health["longest_hole_s"]) == (1, 13 * 300)
    assert light["minutes"] == pytest.approx((99 - 13) * 5)
    assert light["dose"] == pytest.approx(2.0 * (99 - 13) * 300)
