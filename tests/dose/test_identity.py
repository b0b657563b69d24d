"""What makes a sensor another one, and what does not."""

from __future__ import annotations

import math

import msgspec
import pytest

from uvdose.dose.response import Identity, Response, differences, drifted, node_says, same_sensor, zero_play
from uvdose.exposure.target import Target, check_fit, told_of
from uvdose.model import Refusal

WHO = "ok who sill 1.2 guva 4 1023 3"
NOW = Identity("sill", "native", "counts", 0.01, 3.0, 1000.0, None, "sun", 0.1, node_says(WHO))
RESPONSE = Response(0.1, 3.0, 1000.0, "mJ/cm2")


def _other(**changed: object) -> Identity:
    return msgspec.structs.replace(NOW, **changed)


@pytest.mark.parametrize(("changed", "word"), [
    ({"scale": 0.02}, "scale was 0.01"), ({"full_scale": 4095.0}, "full_scale"), ({"mount": "north"}, "mount"),
    ({"under_glass": True}, "it lay bare, and lies under the frame's glass"),
    ({"name": "roof"}, "name was sill"), ({"zero": 8.01}, "zero was 3, is 8.01"), ({"zero": -2.1}, "zero was 3"),
    ({"node": node_says(WHO.replace(" 4 ", " 16 "))}, "the node's gain was 4, is 16"),
    ({"node": node_says(WHO.replace("guva", "other"))}, "the node's sensor was guva, is other"),
    ({"node": node_says(WHO.replace("1023", "4095"))}, "the node's full scale was 1023, is 4095"),
])  # fmt: skip
def test_what_voids_a_target(changed: dict[str, object], word: str) -> None:
    target = Target("blue", 1, 100.0, identity=NOW)
    found = differences(NOW, _other(**changed))
    assert len(found) == 1 and word in found[0]
    with pytest.raises(Refusal, match="uvdose target confirm blue"):
        check_fit(target, _other(**changed), RESPONSE, override=False)
    assert check_fit(target, _other(**changed), RESPONSE, override=True) == found
    assert drifted(NOW, _other(**changed)) == [] and not same_sensor(NOW, _other(**changed))


@pytest.mark.parametrize("changed", [
    {}, {"zero": 7.99}, {"zero": -1.9}, {"zero_u": 5.0}, {"node": None},
    {"node": node_says(WHO.replace("1.2", "1.3").replace(" 3", " 5"))}, {"node": node_says("ok who - - - - - -")},
])  # fmt: skip
def test_what_does_not(changed: dict[str, object]) -> None:
    """Firmware and the node's own zero are told by `ok who` as well, and make no other sensor."""
    now = _other(**changed)
    target = Target("blue", 1, 100.0, identity=NOW)
    assert differences(NOW, now) == differences(now, NOW) == []
    assert check_fit(target, now, RESPONSE, override=False) == [] and same_sensor(now, NOW)
    assert bool(told_of(target, now)) == ("zero" in changed)


def test_of_another_sensor_its_own_figures_are_not_gone_through() -> None:
    other = Identity("roof", "csv", "W/m2", None, 0.0, None, None, "lamp")
    assert differences(NOW, other) == ["name was sill, is roof", "light was sun, is lamp"]
    assert differences(NOW, _other(full_scale=None)) == ["full_scale was 1000.0, is none"]


def test_how_far_a_zero_may_move() -> None:
    """Half a percent of full scale, or three combined standard uncertainties: JCGM 100:2008, 5.1.2, by math.hypot."""
    assert zero_play(NOW, NOW) == 5.0
    unsure = _other(zero_u=4.0)
    assert zero_play(NOW, unsure) == pytest.approx(3 * math.sqrt(0.1**2 + 4.0**2), rel=1e-12)
    bare = _other(full_scale=None, node=None, zero_u=0.0)
    assert differences(bare, msgspec.structs.replace(bare, zero=3.001)) != []
    by_node = _other(full_scale=None)
    assert zero_play(by_node, by_node) == pytest.approx(0.005 * 1023)


def test_a_journal_of_before_knows_no_node_and_voids_nothing() -> None:
    old = (b'{"name":"sill","format":"native","unit":"counts","scale":0.01,"zero":3.0,"full_scale":1000.0,'
           b'"mount":null,"light":"sun"}')
    then = msgspec.json.decode(old, type=Identity)
    assert then.node is None and differences(then, NOW) == []


@pytest.mark.parametrize("who", [None, "", "ok who", "ok who sill 1.2 guva 4", "err busy", "ok now a b c d e"])
def test_a_node_that_says_too_little_says_nothing(who: str | None) -> None:
    assert node_says(who) is None
