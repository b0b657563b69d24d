"""Sensors that send seldom: a smooth dusk and clouds are no fault of theirs, and what is one is told as far as it can.

The measured month is Payerne's of June 2016 (BSRN), minute by minute; other days are plain curves. Faults are invented.
"""

from __future__ import annotations

import math
import random

import pytest
from support.payerne import uva_w_m2

from uvdose.dose.quality import Quality

DAY_S = 86_400
# What the settings say of a sensor, and what it gives for 1 W/m²: nothing tells how bright the sun is of the last two.
SENSORS = {
    "W/m2": (1.0, None, 1.0), "scale and full scale": (0.2, 1023.0, 5.0), "full scale": (None, 1023.0, 15.0),
    "nothing": (None, None, 15.0), "nothing, and small": (None, None, 0.01),
}  # fmt: skip
BEST_W_M2 = 60.0
EACH_S = (10, 50, 60, 300)
CURVES = {"sine": lambda s: s, "cosine cubed": lambda s: s**3}


def _told(values: list[float], step_s: float, sensor: str, start: int = 0) -> list[set[str]]:
    factor, full, per = SENSORS[sensor]
    quality = Quality(0.0, full, factor)
    rows = enumerate(values[start:], start)
    return [set(quality.add(round(i * step_s * 1e6), v * per, full is not None and v * per >= full)) for i, v in rows]


def _day(curve: str, step_s: float) -> list[float]:
    """Twelve hours of light and the night after it, W/m²."""
    shape = CURVES[curve]
    return [BEST_W_M2 * shape(max(0.0, math.sin(2 * math.pi * i * step_s / DAY_S))) for i in range(int(DAY_S / step_s))]


@pytest.mark.parametrize("sensor", SENSORS)
@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("step_s", EACH_S)
def test_a_smooth_day_is_no_fault(sensor: str, curve: str, step_s: int) -> None:
    assert not any(_told(2 * _day(curve, step_s), step_s, sensor))


@pytest.mark.parametrize("sensor", SENSORS)
@pytest.mark.parametrize("curve", CURVES)
def test_nor_are_dawn_and_dusk_of_one_at_a_reading_a_second(sensor: str, curve: str) -> None:
    day = _day(curve, 1.0)
    assert not any(_told([0.0] * 200 + day[:1200], 1.0, sensor)) and not any(_told(day[41_900:43_500], 1.0, sensor))


@pytest.mark.parametrize("sensor", SENSORS)
@pytest.mark.parametrize("each_min", [1, 5, 10])
@pytest.mark.parametrize("digits", [6, 0])
def test_a_measured_month_is_no_fault(sensor: str, each_min: int, digits: int) -> None:
    """As it was measured, and in whole W/m² as a coarse converter gives it: a dusk in a few steps."""
    month = [round(value or 0.0, digits) for value in uva_w_m2()[::each_min]]
    found = _told(month, 60.0 * each_min, sensor)
    assert len(found) == 43_200 // each_min and max(month) > 40
    assert not set().union(*found) & {"no-light", "noisy"}


@pytest.mark.parametrize("sensor", list(SENSORS))
@pytest.mark.parametrize("step_s", [0.1, 1.0, *EACH_S])
def test_a_covered_sensor_is_told_with_the_next_reading_or_within_seconds(sensor: str, step_s: float) -> None:
    dead = max(3, round(8 / step_s))
    found = _told([40.0] * 200 + [0.0] * dead, step_s, sensor)
    first = next(i for i, f in enumerate(found) if "no-light" in f)
    assert (first - 200) * step_s <= max(6.0, step_s)


def test_of_weak_light_and_readings_each_five_minutes_nothing_can_be_told() -> None:
    """8 W/m² may be gone in ten minutes of dusk where a plane looks along the sun's setting; in two they may not."""
    gone = [8.0] * 200 + [0.0] * 10
    assert not any(_told(gone, 300.0, "W/m2")) and "no-light" in _told(gone, 60.0, "W/m2")[201]


def test_a_hole_in_the_readings_over_dusk_is_no_fault() -> None:
    quality = Quality(0.0, None, 1.0)
    light = [(i * 1.0, 20.0) for i in range(100)] + [(1900.0 + i, 0.0) for i in range(60)]
    assert not any(set(quality.add(round(t * 1e6), value, False)) for t, value in light)


@pytest.mark.parametrize("step_s", [0.1, 1.0, 4.0])
def test_a_loose_wire_is_told(step_s: float) -> None:
    rng = random.Random(5)
    values = [40 + rng.gauss(0, 0.3) for _ in range(100)] + [max(0.0, 40 + rng.gauss(0, 16)) for _ in range(100)]
    found = _told(values, step_s, "W/m2")
    first = next(i for i, f in enumerate(found) if "noisy" in f)
    assert 100 < first <= 124 + 1 / step_s


def _clouds(step_s: float, seed: int) -> list[float]:
    """Sun and shade in turns of a minute, as a draw; eight hours."""
    rng, until_s, values, level = random.Random(seed), 0.0, [], 60.0
    for i in range(int(8 * 3600 / step_s)):
        while i * step_s > until_s:
            until_s += rng.expovariate(1 / 60.0)
            level = 75.0 - level
        values.append(level + rng.gauss(0, 0.2))
    return values


@pytest.mark.parametrize("step_s", [1.0, 10.0, 60.0])
def test_broken_clouds_are_no_noise(step_s: float) -> None:
    for seed in range(4):
        assert not any("noisy" in f for f in _told(_clouds(step_s, seed), step_s, "W/m2"))


@pytest.mark.parametrize("step_s", [1.0, 60.0])
def test_who_begins_to_read_later_comes_to_the_same(step_s: float) -> None:
    """A restart reads at least 500 readings before anything is told (`journal.replay`)."""
    rng = random.Random(9)
    values = [40 + rng.gauss(0, 0.3) for _ in range(700)] + [max(0.0, 40 + rng.gauss(0, 16)) for _ in range(90)]
    values += [40 + rng.gauss(0, 0.3) for _ in range(200)] + [0.0] * 30 + [38.0] * 20
    live = _told(values, step_s, "W/m2")
    assert set().union(*live) == ({"noisy", "no-light"} if step_s == 1.0 else {"no-light"})
    for start in (150, 230, 410, 500):
        assert _told(values, step_s, "W/m2", start)[500:] == live[start + 500 :]
