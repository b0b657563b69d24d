"""What a sensor's own values say about it: each fault is told, and what only looks like one is not."""

from __future__ import annotations

import itertools
import random

import pytest

from uvdose.dose.quality import Quality

R = random.Random(7)
STEADY = [400.0] * 600
COARSE = [float(round(400 + R.gauss(0, 0.4))) for _ in range(300)] + [400.0] * 300
CLOUDS_THEN_CLEAR = [400 - 3 * abs((i % 80) - 40) + 0.25 * (i % 3) for i in range(240)] + [404.0] * 400
MINUTE_STEPS = [100.0 + 10 * (i // 60) for i in range(1200)]
DUSK = [max(0.0, 300 - i + R.gauss(0, 2)) for i in range(320)] + [0.0] * 600
WANDERING_THEN_CALM = [round(x) * 1.0 for x in itertools.accumulate(R.gauss(0, 4) for _ in range(300))]
WANDERING_THEN_CALM = [500 + x for x in WANDERING_THEN_CALM] + [500 + WANDERING_THEN_CALM[-1]] * 200
NOISY_LIVE = [400 + R.gauss(0, 3) for _ in range(600)]


def _found(
    values: list[float], step_s: float = 1.0, full: float = 1023.0, factor: float | None = 0.2
) -> list[set[str]]:
    quality = Quality(0.0, full, factor)
    return [set(quality.add(round(i * step_s * 1e6), v, v >= full)) for i, v in enumerate(values)]


@pytest.mark.parametrize("values", [STEADY, COARSE, CLOUDS_THEN_CLEAR, MINUTE_STEPS, DUSK, NOISY_LIVE,
                                    WANDERING_THEN_CALM],
                         ids=["lamp", "coarse", "clouds-then-clear", "minutes", "dusk", "noise", "wander"])  # fmt: skip
@pytest.mark.parametrize("step_s", [0.1, 0.25, 1.0])
def test_nothing_is_wrong(values: list[float], step_s: float) -> None:
    assert all(not found for found in _found(values, step_s))


def test_frozen_is_told_within_seconds_and_cleared_by_the_first_move() -> None:
    values = NOISY_LIVE[:100] + [NOISY_LIVE[99]] * 60 + NOISY_LIVE[100:140]
    found = _found(values)
    first = next(i for i, f in enumerate(found) if "frozen" in f)
    assert 100 + 5 <= first <= 100 + 15
    assert all("frozen" in f for f in found[first:160]) and "frozen" not in found[160]


def test_noise_is_told_and_cleared_with_hysteresis() -> None:
    rng = random.Random(3)
    values = [400 + rng.gauss(0, 2) for _ in range(60)] + [400 + rng.gauss(0, 160) for _ in range(60)]
    values += [400 + rng.gauss(0, 60) for _ in range(60)] + [400 + rng.gauss(0, 2) for _ in range(60)]
    found = _found(values, full=1e6)
    assert not found[59] and "noisy" in found[110] and "noisy" in found[175] and not found[-1]


def test_below_zero_by_more_than_noise() -> None:
    rng = random.Random(4)
    assert all(not f for f in _found([rng.gauss(0, 1) for _ in range(200)]))
    found = _found([-30 + rng.gauss(0, 1) for _ in range(20)] + [30.0 + rng.gauss(0, 1) for _ in range(20)])
    assert "negative" in found[5] and not found[-1]


def test_saturated_clears_after_ten_good_readings() -> None:
    found = _found([1023.0] * 3 + [900.0 + i for i in range(12)])
    assert "saturated" in found[0] and "saturated" in found[11] and "saturated" not in found[12]


DEAD = {
    "dead at its zero": [0.0] * 20,
    "covered": [abs(R.gauss(0, 1)) for _ in range(20)],
    "gone within a line": [170.0] + [0.0] * 19,
}


@pytest.mark.parametrize("values", DEAD.values(), ids=DEAD.keys())
@pytest.mark.parametrize("step_s", [0.02, 1.0])
def test_no_light_at_all_is_told_within_seconds(values: list[float], step_s: float) -> None:
    gone = [v for v in values for _ in range(round(1 / step_s))]
    found = _found(NOISY_LIVE[:60] + gone + NOISY_LIVE[60:120], step_s)
    first = next(i for i, f in enumerate(found) if "no-light" in f)
    assert 5 <= (first - 60) * step_s <= 7
    assert "no-light" in found[60 + len(gone) + 8] and "no-light" not in found[60 + len(gone) + 12], "with hysteresis"


def test_what_only_looks_like_no_light() -> None:
    """A dusk, a cloud, a flash in the dark, a sensor that drops out for moments, and one that lay in the dark."""
    dusk = [300 * 0.99**i + R.gauss(0, 0.3) for i in range(2000)]
    cloud = [400.0] * 60 + [12.0] * 200
    flash = [0.0] * 60 + [500.0] + [0.0] * 60
    drops = [400.0 if i % 9 else 0.0 for i in range(200)]
    for values in (dusk, cloud, flash, drops, [0.0] * 300, [2.0] * 200 + [0.0] * 200):
        assert not any("no-light" in f for f in _found(values))


def test_noise_in_the_dusk_is_no_fault_however_long_it_was_bright() -> None:
    rng = random.Random(8)
    dusk = [400 * 0.999**i + rng.gauss(0, 2) for i in range(12_000)]
    assert not any("noisy" in f for f in _found(dusk, factor=0.05))


def test_noise_stays_told_for_two_minutes_between_its_thresholds() -> None:
    """Not for ever: whoever begins to read in between must come to the same."""
    values = [400.0 + (-1) ** i * (40 if i < 60 else 25) for i in range(400)]
    found = _found(values, full=1e6)
    assert all("noisy" in f for f in found[30:180]) and not any("noisy" in f for f in found[220:])


def test_more_than_sun_or_lamp_gives() -> None:
    assert "out-of-range" in _found([20_000.0], full=1e6)[0]
    assert not _found([20_000.0], full=1e6, factor=None)[0], "without a scale nothing is known of W/m²"


@pytest.mark.parametrize("times", [83, 119, 166])
def test_noise_at_its_limit_is_told_of_values_together_as_of_each(times: int) -> None:
    """Values whose noise lies so near its limit that a product and a quotient round to two sides of it."""
    dark, light = 16_817_003 * times / 1000, (16_817_003 + 2_778_473) * times / 1000
    values = [dark] * 60 + [dark if i % 2 == 0 or i == 23 else light for i in range(24)] + [dark] * 2
    single, moved = Quality(0.0, None, None), False
    for i, value in enumerate(values):
        noisy = "noisy" in single.add(i * 1_000_000, value, False)
        moved = moved or noisy
    taken = Quality(0.0, None, None)
    for i, value in enumerate(values[:60]):
        taken.add(i * 1_000_000, value, False)
    assert moved and taken.is_moved_by([i * 1_000_000 for i in range(60, len(values))], values[60:])
