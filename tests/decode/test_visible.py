"""Names out of what comes are anybody's: none steers the terminal of who reads of it."""

from __future__ import annotations

import json
import unicodedata

import pytest

from uvdose.cli.sensor.listening import _rest
from uvdose.cli.sensor.proposal import judged, told
from uvdose.config import SensorSettings
from uvdose.decode import make_decoder
from uvdose.decode.recognise import Heard, recognise
from uvdose.dose.response import identity_of, response_of
from uvdose.exposure.bench import Bench

# ECMA-48: erase the screen, set the title; the same introducer as one C1 byte; Unicode TR9: right-to-left override.
STEERS = "\x1b[2J\x1b]0;x\x07\x9b31m\u202e"
TWO_UV = json.dumps({f"uv{STEERS}": 5, f"uva{STEERS}": 1})
ONE_UV = json.dumps({f"uv{STEERS}": 5, "x": 1})
NO_UV = json.dumps({f"q{STEERS}": 5, "x": 1})
SENML = json.dumps([{"n": f"uv{STEERS}", "v": 5, "u": "W/m2"}])


def _steers(text: str) -> list[str]:
    return [c for c in text if unicodedata.category(c) in ("Cc", "Cf")]


@pytest.mark.parametrize("message", [TWO_UV, ONE_UV, NO_UV, SENML, "uv\x9b31m\u202e: 5"])
def test_what_find_tells(message: str) -> None:
    finding = recognise([Heard(float(i), message.encode()) for i in range(6)], context="home/light", least=1)
    lines = told(judged("mqtt", f"home/uv{STEERS}", finding, None, set()))
    assert len(lines) > 2 and not any(_steers(line) for line in lines)
    rest = _rest(2, [f"home/{STEERS}", "other"], [], 0)
    assert "other" in rest and not _steers(rest)


@pytest.mark.parametrize(("message", "field"), [(TWO_UV, None), (ONE_UV, None), (NO_UV, None), (ONE_UV, "/no")])
def test_what_the_daemon_tells_of_auto(message: str, field: str | None) -> None:
    sensor = SensorSettings("sill", "mqtt", topic="t", format="auto", field=field)
    decoder, bench = make_decoder(sensor), Bench()
    channel = bench.add_sensor("sill", identity_of(sensor), response_of(sensor))
    for second in range(1, 30):
        bench.take("sill", decoder.message(message.encode()), second * 1_000_000)
    lines = [*channel.health.active.values(), channel.last_bad]
    assert any("uv" in line or "q" in line for line in lines) and not any(_steers(line) for line in lines)
