"""Whether the light of now means the same as that of the proof: told, with its sign, only where it is worth a word."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import msgspec
import numpy as np
import pytest
from exposure.table import IDENTITY, RESPONSE
from support.mismatched import mismatch

from uvdose.asked import TargetRequest
from uvdose.config import Settings, parse_settings
from uvdose.exposure.setting import MOST_AIR_MASS, next_version
from uvdose.exposure.target import Target, check_fit
from uvdose.light.airmass import air_mass
from uvdose.light.bands import emulsion_band, sensor_band
from uvdose.light.mismatch import MOST_AIR_MASS as IN_THE_LIGHT
from uvdose.light.mismatch import Light, falling
from uvdose.light.plane import HORIZONTAL, TOWARD_SUN
from uvdose.light.sun import position
from uvdose.model import LIGHTS, ProvedLight, Refusal
from uvdose.same_light import TELL, Drift, SameLight

NOON_S = datetime(2026, 6, 21, 11, 32, tzinfo=UTC).timestamp()
PLANES = {"flat": HORIZONTAL, "sun": TOWARD_SUN}


def _settings(bench: str = "latitude = 47.0\nlongitude = 7.5", sensor: str = 'part = "GUVA-S12SD"') -> Settings:
    return parse_settings(
        f'[bench]\n{bench}\n[[sensor]]\nname = "sill"\nlink = "simulated"\nscale = 0.01\n{sensor}\n', "uvdose.toml"
    )


def _facing(facing: str, part: str = "GUVA-S12SD") -> SameLight:
    return SameLight(_settings(f'latitude = 47.0\nlongitude = 7.5\nfacing = "{facing}"', f'part = "{part}"'))


def _afternoon(mass: float) -> float:
    """When the sun shines through so much air, after noon."""
    times = NOON_S + np.arange(0.0, 8 * 3600.0)
    found = air_mass(position(times, 47.0, 7.5).apparent_zenith_deg)
    return float(times[np.flatnonzero(found > mass)[0]])


def _target(same: SameLight, mass: float | None = 1.2, **more: object) -> Target:
    light = None if mass is None else same.proof_at(mass)
    return Target("blue", 1, 2565.0, proved_light=light, **more)  # type: ignore[arg-type]


def _drift(same: SameLight, target: Target, utc_s: float) -> Drift:
    found = same.drift(target, "sill", utc_s)
    assert isinstance(found, Drift), found
    return found


def test_a_wall_that_the_sun_has_left_is_told_by_where_it_stands_not_how_high() -> None:
    """A frame that looks east, proved in the morning, used when the sun stands as high in the west: symmetry."""
    same = SameLight(_settings('latitude = 47.0\nlongitude = 7.5\nfacing = "tilted"\ntilt_deg = 90\nazimuth_deg = 90'))
    proved = same.proof(NOON_S - 3 * 3600, "2026-06-21T08:32:00.000Z")
    assert isinstance(proved, ProvedLight)
    target = Target("blue", 1, 2565.0, proved_light=proved)
    found = _drift(same, target, NOON_S + 3 * 3600)
    assert abs(found.air_mass / proved.air_mass - 1) < 0.02 and found.worth_telling
    assert found.way == "elsewhere" and "the sun stands elsewhere than when blue was proved" in found.words("blue")
    assert _drift(same, target, NOON_S + 6 * 3600).way == "lower"
    for facing in PLANES:  # these look at the sun, or at all of the sky alike
        alike = _facing(facing)
        assert _drift(alike, _target(alike, 1.5), _afternoon(1.52)).way == "lower"


def test_the_light_of_a_moment() -> None:
    """NREL/TP-560-34302, table A5.1: zenith 50.11162, azimuth 194.34024; its air mass by Kasten & Young."""
    same = SameLight(_settings("latitude = 39.742476\nlongitude = -105.1786\nheight_m = 1830.14"))
    at = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC).timestamp()
    light = same.proof(at, "2003-10-17T19:30:30.000Z")
    assert isinstance(light, ProvedLight)
    assert light.sun_azimuth_deg == pytest.approx(194.34024, abs=0.02)
    assert light.air_mass == pytest.approx(float(air_mass(50.11162)), rel=5e-4)
    assert (light.tilt_deg, light.toward_sun, light.utc) == (0.0, False, "2003-10-17T19:30:30.000Z")


@pytest.mark.parametrize("facing", PLANES)
@pytest.mark.parametrize("mass", [1.5, 2.0, 3.0, 4.0])
@pytest.mark.parametrize(("part", "row"), [("GUVA-S12SD", 0), ("ML8511", 1), ("AS7331", 2)])
def test_the_aim_holds_the_table(facing: str, mass: float, part: str, row: int) -> None:
    """The check values' table of drifts (SPECTRL2, standard air, proved at air mass 1.2): by so many per cent a
    print is over-exposed, which the aim must take away. The table's air is one of those between the bounds."""
    table = {
        "flat": {1.5: (3.0, 1.8, 0.2), 2.0: (6.3, 3.7, 0.4), 3.0: (8.7, 5.2, 0.3), 4.0: (9.0, 5.2, -0.5)},
        "sun": {1.5: (6.7, 4.0, 0.6), 2.0: (17, 10, 1.9), 3.0: (35, 20, 5.3), 4.0: (46, 27, 8.7)},
    }
    over = table[facing][mass][row]
    same = _facing(facing, part)
    found = _drift(same, _target(same), _afternoon(mass))
    assert found.air_mass == pytest.approx(mass, rel=0.01) and found.proved == 1.2
    assert found.low <= 1 / (1 + over / 100) <= found.high
    assert found.aim == pytest.approx(1 / (1 + over / 100), rel=0.1)  # the middle of all airs; measured: 9.7 % at worst
    assert found.stops == pytest.approx(math.log2(found.aim))


@pytest.mark.parametrize("facing", PLANES)
def test_under_the_same_glass_there_is_less_to_correct(facing: str) -> None:
    """The glass takes from both what a low sun has lost: a quarter of the change and more."""
    glass, bare = _facing(facing, 'GUVA-S12SD"\nunder_glass = true\nmount = "frame'), _facing(facing)
    found, without = (_drift(same, _target(same), _afternoon(3.0)).stops for same in (glass, bare))
    assert 0.3 < found / without < 0.8
    plane, paper = PLANES[facing], emulsion_band("framed")
    own = mismatch("wide", "framed", plane, 1.2, 3.0, under_glass=True)
    assert paper.cover is not None and found == pytest.approx(-own.stops, rel=0.03)


@pytest.mark.parametrize("facing", PLANES)
@pytest.mark.parametrize(("proved", "now"), [(1.2, 2.5), (2.5, 1.2)])
def test_a_print_at_the_aim_has_the_effect_of_the_proof(facing: str, proved: float, now: float) -> None:
    """From the definitions: the sensor's light x time is the dose, the emulsion's light x time the effect."""
    same = _facing(facing)
    target = _target(same, proved)
    found = _drift(same, target, _afternoon(now))
    plane, sensor, paper = PLANES[facing], sensor_band("wide"), emulsion_band("framed")
    then, here = falling(Light(plane, proved)), falling(Light(plane, found.air_mass))
    effect = float(paper.integral(then)) * target.dose / float(sensor.integral(then))

    def given(aim: float) -> float:
        return float(paper.integral(here)) * aim * target.dose / float(sensor.integral(here))

    assert given(found.low) <= effect <= given(found.high)
    assert abs(math.log(given(found.aim) / effect)) < abs(math.log(given(1.0) / effect)), "nearer than without"
    assert (found.aim < 1) == (now > proved)


def test_what_is_said_and_when() -> None:
    same = _facing("sun")
    target = _target(same)
    assert same.aim(target, "sill", _afternoon(1.21), 0.0, None) == (1.0, ""), "the same light"
    aim, line = same.aim(target, "sill", _afternoon(2.5), 0.0, None)
    assert aim == 1.0 and line.startswith("the sun stands lower than when blue was proved (air mass 2.5, then 1.2)")
    assert "too little against the paper" in line and "`uvdose target correct blue on`" in line
    higher = same.aim(_target(same, 3.0), "sill", _afternoon(1.5), 0.0, None)[1]
    assert "the sun stands higher" in higher and "too much" in higher and " stop" in higher
    aim, line = same.aim(target, "sill", _afternoon(2.5), 0.0, True)
    assert aim == _drift(same, target, _afternoon(2.5)).aim < 0.9 and line.endswith("it is corrected")
    on = msgspec.structs.replace(target, correct=True)
    assert same.aim(on, "sill", _afternoon(2.5), 0.0, None)[0] == aim
    assert same.aim(on, "sill", _afternoon(2.5), 0.0, False)[0] == 1.0
    assert "the frame lies otherwise" in _drift(same, _target(_facing("flat")), _afternoon(2.5)).words("blue")


def test_nothing_is_said_below_three_per_cent() -> None:
    same = _facing("sun")
    target, said = _target(same), []
    for mass in np.arange(1.2, 2.0, 0.02):
        drift, line = _drift(same, target, _afternoon(mass)), same.aim(target, "sill", _afternoon(mass), 0, None)[1]
        assert bool(line) == (abs(drift.aim - 1) >= TELL)
        said.append(bool(line))
    assert said[0] is False and said[-1] is True


def test_the_middle_of_the_exposure_counts() -> None:
    same = _facing("sun")
    target, begin = _target(same), _afternoon(2.0)
    later = same.aim(target, "sill", begin, 3600.0, True)[0]
    assert later == _drift(same, target, begin + 1800).aim < same.aim(target, "sill", begin, None, True)[0]
    # In light that is too weak to print in the end of the day is not waited for.
    assert same.aim(target, "sill", NOON_S - 3600, 1e9, True)[0] == _drift(same, target, NOON_S + 3600).aim


@pytest.mark.parametrize(("same", "mass", "why"), [
    (SameLight(_settings(bench="")), 1.2, "latitude and longitude"),
    (SameLight(_settings(sensor="")), 1.2, "which part sensor sill is"),
    (SameLight(_settings(sensor='part = "GUVA-S12SD"\nlight = "lamp"')), 1.2, "only the sun's light"),
    (_facing("sun"), None, "--proved-at TIME"),
    (SameLight(_settings('latitude = 47.0\nlongitude = -170.0')), 1.2, "the sun is down"),
    (SameLight(_settings('latitude = 47.0\nlongitude = 7.5\nfacing = "tilted"\ntilt_deg = 30.0\nazimuth_deg = 180.0')),
     1.2, "not the air mass alone"),
])  # fmt: skip
def test_what_is_not_known_is_silent_until_it_is_asked_for(same: SameLight, mass: float | None, why: str) -> None:
    target = _target(same, mass)
    assert same.aim(target, "sill", NOON_S, 600.0, None) == (1.0, "")
    aim, line = same.aim(msgspec.structs.replace(target, correct=True), "sill", NOON_S, 600.0, None)
    assert aim == 1.0 and line.startswith("not corrected: ") and why in line
    with pytest.raises(Refusal, match="--correct cannot be reckoned"):
        same.aim(target, "sill", NOON_S, 600.0, True)


def test_a_tilted_frame_goes_by_the_sun_s_side() -> None:
    """Proved at the same air mass, once with the sun before the frame and once behind it: not the same light."""
    bench = 'latitude = 47.0\nlongitude = 7.5\nfacing = "tilted"\ntilt_deg = 60.0\nazimuth_deg = 90.0'
    same = SameLight(_settings(bench))
    morning, evening = 2 * NOON_S - _afternoon(2.0), _afternoon(2.0)
    light = same.proof(morning, "")
    assert isinstance(light, ProvedLight) and light.tilt_deg == 60.0 and light.azimuth_deg == 90.0
    target = Target("blue", 1, 100.0, proved_light=light)
    assert _drift(same, target, morning).aim == pytest.approx(1.0)
    assert abs(_drift(same, target, evening).aim - 1) > 0.05


def test_the_light_of_the_proof_stays_with_its_dose() -> None:
    request = TargetRequest("blue", 100.0, proved_light=ProvedLight(1.3), correct=True)
    first = next_version(request, None, [], "")
    assert first.proved_light == ProvedLight(1.3) and first.correct
    looks = next_version(TargetRequest("blue", 100.0, looks=(0.5,)), first, [], "")
    assert looks.proved_light == ProvedLight(1.3) and looks.correct
    dose = next_version(TargetRequest("blue", 120.0, correct=False), looks, [], "")
    assert dose.proved_light is None and not dose.correct
    for light in (ProvedLight(0.5), ProvedLight(11.0), ProvedLight(math.inf), ProvedLight(1.2, tilt_deg=100.0),
                  ProvedLight(1.2, azimuth_deg=-1.0), ProvedLight(1.2, sun_azimuth_deg=math.nan)):  # fmt: skip
        with pytest.raises(Refusal):
            next_version(TargetRequest("blue", 1.0, proved_light=light), None, [], "")
    assert MOST_AIR_MASS == IN_THE_LIGHT


def test_a_target_of_an_older_journal_is_read() -> None:
    old = msgspec.json.decode(b'{"name": "blue", "version": 3, "dose": 2565.0}', type=Target)
    assert old.proved_light is None and not old.correct


SAID = [("open", "open", False), ("shade", "open", True), ("open", "shade", True), ("window", "open", True),
        ("", "shade", False), ("shade", "", False)]  # fmt: skip


@pytest.mark.parametrize(("proved", "now", "refused"), SAID)
def test_another_light_is_refused_as_another_sensor_is(proved: str, now: str, refused: bool) -> None:
    target = Target("blue", 1, 100.0, light_in=proved)
    if not refused:
        assert check_fit(target, IDENTITY, RESPONSE, False, now) == []
        return
    with pytest.raises(Refusal, match="--override"):
        check_fit(target, IDENTITY, RESPONSE, False, now)
    found = check_fit(target, IDENTITY, RESPONSE, True, now)
    assert found == [f"proved in {LIGHTS[proved]}, printed in {LIGHTS[now]}"]


def test_proved_in_the_sun_and_printed_in_the_shade_is_told_though_nobody_named_the_light() -> None:
    """An air mass is of the sun's own light; whoever knows better says so, and the dose keeps its proof."""
    target = Target("blue", 1, 100.0, proved_light=ProvedLight(1.09))
    assert [check_fit(target, IDENTITY, RESPONSE, False, light) for light in ("", "open")] == [[], []]
    for light in ("shade", "window"):
        [told] = check_fit(target, IDENTITY, RESPONSE, False, light)
        assert "in the sun" in told and LIGHTS[light] in told
    said = next_version(TargetRequest("blue", 100.0, light_in="shade"), target, [], "")
    assert said.proved_light == target.proved_light and check_fit(said, IDENTITY, RESPONSE, False, "shade") == []


def test_shade_against_the_sun_by_the_table() -> None:
    """The check values' shades (SPECTRL2): proved in the sun at air mass 1.2, held to it, in its shade a GaN photodiode
    makes a print 15 % under-exposed, one about 365 nm 2.5 %: the aim must give that back. Within 2 points, as the model
    holds the table; what hides the sky around the sun as well widens the interval."""
    for part, under in (("GUVA-S12SD", -15.0), ("AS7331", -2.5)):
        same = _facing("sun", part)
        proved = _target(same, light_in="open")
        found = same.drift(proved, "sill", _afternoon(1.2), "shade")
        assert isinstance(found, Drift)
        assert 100 * (1 / found.aim - 1) == pytest.approx(under, abs=2.0) and found.low < 1 < found.aim < found.high
        assert "the frame lies in shade, and did not when blue was proved" in found.words("blue")
        alike = same.drift(_target(same, light_in="shade"), "sill", _afternoon(1.2))
        assert isinstance(alike, Drift) and alike.aim == pytest.approx(1.0, abs=0.005) and not alike.otherwise
    assert "glass of a window" in str(same.drift(proved, "sill", NOON_S, "window"))


def test_where_it_lies_stays_with_the_target_until_it_is_said_anew() -> None:
    first = next_version(TargetRequest("blue", 100.0, light_in="shade"), None, [], "")
    assert first.light_in == "shade"
    assert next_version(TargetRequest("blue", 120.0), first, [], "").light_in == "shade"
    assert next_version(TargetRequest("blue", 120.0, light_in="open"), first, [], "").light_in == "open"
    with pytest.raises(Refusal, match="one of open, shade, window"):
        next_version(TargetRequest("blue", 120.0, light_in="cellar"), first, [], "")
