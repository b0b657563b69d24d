"""SenML packs: the examples of RFC 8428, and what the standard wants refused."""

from __future__ import annotations

import json
from typing import Any

import pytest
from decode.cases import LONG, check_types, decoder, mutated, readings, three_ways

from uvdose.decode.senml import resolve_pack
from uvdose.model import BadInput, MomentReading

# RFC 8428, section 5.1.1: one value, now.
ONE = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
# Section 5.1.2: two values, now; then a value and a series before an absolute time.
TWO = (b'[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},'
       b'{"n":"current","u":"A","v":1.2}]')
SERIES = (b'[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,'
          b'"n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},'
          b'{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]')
# Section 5.1.3, and 5.1.4 which is the same pack resolved.
MIXED = (b'[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},'
         b'{"u":"lon","v":24.30621},{"u":"lat","v":60.07965},'
         b'{"t":60,"v":20.3},{"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},'
         b'{"t":120,"v":20.7},{"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},'
         b'{"u":"%EL","t":150,"v":98},'
         b'{"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},{"u":"lat","t":180,"v":60.07967}]')
RESOLVED: list[tuple[str, float, float]] = [
    ("%RH", 1320067464, 20), ("lon", 1320067464, 24.30621), ("lat", 1320067464, 60.07965),
    ("%RH", 1320067524, 20.3), ("lon", 1320067524, 24.30622), ("lat", 1320067524, 60.07965),
    ("%RH", 1320067584, 20.7), ("lon", 1320067584, 24.30623), ("lat", 1320067584, 60.07966),
    ("%EL", 1320067614, 98),
    ("%RH", 1320067644, 21.2), ("lon", 1320067644, 24.30628), ("lat", 1320067644, 60.07967),
]
UV = b'[{"n":"urn:dev:ow:10e2073a01080063","u":"W/m2","v":23.1}]'


def ask(pack: bytes, **settings: Any) -> list[Any]:
    return three_ways(lambda: decoder("senml", **settings), pack)


def refused(pack: object, **settings: Any) -> str:
    (found,) = decoder("senml", **settings).message(json.dumps(pack).encode())
    assert isinstance(found, BadInput)
    return found.reason


def test_examples_of_the_standard() -> None:
    assert ask(ONE) == [MomentReading(23.1)]
    assert ask(TWO) == [MomentReading(120.1)]
    assert ask(TWO, field="current") == [MomentReading(1.2)]
    assert ask(TWO, field="urn:dev:ow:10e2073a01080063:current") == [MomentReading(1.2)]
    assert ask(SERIES, field="current") == [
        MomentReading(value, 1276020076.001 + t)
        for value, t in ((1.2, -5), (1.3, -4), (1.4, -3), (1.5, -2), (1.6, -1), (1.7, 0))
    ]
    assert ask(SERIES, field="voltage") == [MomentReading(120.1, 1276020076.001)]


def test_a_pack_resolves_to_the_one_in_the_standard() -> None:
    found = [(r.unit, r.time_s, r.value) for r in resolve_pack(json.loads(MIXED))]
    assert found == RESOLVED
    assert {r.name for r in resolve_pack(json.loads(MIXED))} == {"urn:dev:ow:10e2073a01080063"}
    resolved = [{"n": "urn:dev:ow:10e2073a01080063", "u": u, "t": t, "v": v} for u, t, v in RESOLVED]
    assert [(r.unit, r.time_s, r.value) for r in resolve_pack(resolved)] == RESOLVED


def test_values_of_different_units_are_never_mixed() -> None:
    assert ask(MIXED) == [MomentReading(v, t) for u, t, v in RESOLVED if u == "%RH"]


def test_irradiance_is_found_by_its_unit() -> None:
    assert ask(UV, unit="W/m2") == [MomentReading(23.1)]
    two = b'[{"n":"temp","u":"Cel","v":21},{"n":"uv","u":"W/m2","v":5.5},{"n":"lux","u":"lx","v":900}]'
    assert ask(two, unit="W/m2") == [MomentReading(5.5)]
    assert ask(two, field="lux") == [MomentReading(900.0)]
    both = [{"n": "uva", "u": "W/m2", "v": 5}, {"n": "uvb", "u": "W/m2", "v": 1}]
    assert refused(both) == "several records; set field to one name"


def test_irradiance_comes_in_the_unit_of_the_settings() -> None:
    (found,) = ask(UV, unit="mW/cm2")
    assert found.value == pytest.approx(2.31, rel=1e-15)
    (found,) = ask(UV, unit="uW/cm2")
    assert found.value == pytest.approx(2310.0, rel=1e-15)
    assert ask(UV, unit="counts") == [MomentReading(23.1)]


def test_field_is_a_whole_name_or_its_end() -> None:
    pack = b'[{"bn":"sill/","n":"uv","v":1},{"n":"max_uv","v":2},{"n":"lux","v":3}]'
    assert ask(pack, field="sill/uv") == [MomentReading(1.0)]
    assert ask(pack, field="uv") == [MomentReading(1.0)]
    assert ask(pack, field="max_uv") == [MomentReading(2.0)]
    assert ask(pack, field="_uv") == [MomentReading(2.0)]
    assert isinstance(ask(pack, field="ux")[0], BadInput)  # inside a word
    assert refused([{"n": "a/uv", "v": 1}, {"n": "b/uv", "v": 2}], field="uv") == (
        "several records; set field to a whole name"
    )
    assert refused([{"n": "a", "v": 1}], field="uv") == "field not here"


def test_base_value_and_base_name_change_in_mid_pack() -> None:
    pack = b'[{"bn":"a:","bv":100,"n":"uv","v":1.5},{"n":"uv","v":2},'
    pack += b'{"bn":"b:","n":"uv","v":3},{"bv":0,"n":"uv","v":4}]'
    assert ask(pack, field="a:uv") == [MomentReading(101.5), MomentReading(102.0)]
    assert ask(pack, field="b:uv") == [MomentReading(103.0), MomentReading(4.0)]


def test_relative_times_count_at_arrival_and_keep_their_order() -> None:
    pack = b'[{"n":"uv","t":0,"v":3},{"n":"uv","t":-20,"v":1},{"n":"uv","t":-10,"v":2}]'
    assert ask(pack) == [MomentReading(1.0), MomentReading(2.0), MomentReading(3.0)]
    assert ask(b'[{"n":"uv","bt":268435455,"v":1}]') == [MomentReading(1.0)]
    assert ask(b'[{"n":"uv","bt":268435455,"t":1,"v":1}]') == [MomentReading(1.0, 268435456.0)]


def test_a_bad_value_costs_itself_only() -> None:
    pack = b'[{"n":"uv","v":1},{"n":"uv","v":1e13},{"n":"uv","v":2}]'
    first, bad, last = ask(pack)
    assert (first, last) == (MomentReading(1.0), MomentReading(2.0))
    assert isinstance(bad, BadInput) and bad.reason == "absurd number"
    (late,) = ask(b'[{"n":"uv","bt":1e300,"v":1}]')
    assert isinstance(late, BadInput) and late.reason == "absurd number"


@pytest.mark.parametrize(
    ("pack", "reason"),
    [
        ([{"n": "uv", "v": 1, "x_": 1}], "unknown mandatory SenML field"),
        ([{"n": "uv", "v": 1}, {"n": "t", "v": 1, "hidden_": None}], "unknown mandatory SenML field"),
        ([{"bver": 11, "n": "uv", "v": 1}], "unknown SenML version"),
        ([{"v": 1}], "SenML record without a name"),
        ([{"n": "uv", "v": "1"}], "not a number"),
        ([{"n": "uv", "v": None}], "null value"),
        ([{"n": "uv", "v": True}], "not a number"),
        ([{"n": "uv", "v": float("nan")}], "not a finite number"),
        ([{"n": "uv", "v": 10**400}], "absurd number"),
        ([{"n": "uv", "v": 1, "vs": "1"}], "two values in one SenML record"),
        ([{"n": 1, "v": 1}], "SenML n: not text"),
        ([{"n": "uv", "bt": "now", "v": 1}], "SenML bt: not a number"),
        ([{"n": "uv", "vs": "bright"}], "no numeric SenML record"),
        ([{"n": "uv", "s": 12}], "no numeric SenML record"),
        ([{"n": "uv", "vb": 1}], "SenML vb: not true or false"),
        ([], "not a SenML pack"),
        ({"n": "uv", "v": 1}, "not a SenML pack"),
        ([1], "not a SenML record"),
    ],
)
def test_what_the_standard_wants_refused(pack: object, reason: str) -> None:
    assert refused(pack) == reason


def test_unknown_optional_fields_and_older_versions_are_passed_over() -> None:
    assert ask(b'[{"bver":10,"n":"uv","v":1,"_x":5,"l":[],"ut":60,"bs":1,"s":4}]') == [MomentReading(1.0)]


def test_fuzz() -> None:
    stream, passed = decoder("senml"), 0
    for line in mutated([ONE, TWO, SERIES, MIXED, UV], 1_000_000 if LONG else 20_000, seed=4):
        for found in (stream.feed(line), stream.message(line)):
            check_types(found)
            passed += len(readings(found))
    assert passed > 1000
