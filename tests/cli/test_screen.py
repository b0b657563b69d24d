"""The live screen at 80 columns: nothing of the advice is cut, and what nobody knows is said so."""

from __future__ import annotations

import pytest

from uvdose.cli.screen import live_lines, plain_lines, status_text
from uvdose.messages import ExposureDoc, SensorDoc, StatusDoc
from uvdose.review.layout import wrap

ADVICE = (
    "there is no port /dev/serial/by-id/usb-a-board-with-a-long-name-if00-port0; plug the sensor in, or correct `port`"
    " of this sensor: up to 60 s of light are bridged from the reading before to the one after"
)


def _status(alarms: list[str], eta_s: float | None, state: str = "counting") -> StatusDoc:
    sensor = SensorDoc("sill", "absent", 2.5, "mW/cm2", 12.0, [ADVICE], 30, 3, 0, "not a number: 'UV: 3'")
    print_ = ExposureDoc(
        1, "blue", 1, "sill", "1", state, "mJ/cm2", 2565.0, 1000.0, 990.0, 1010.0, 0.39, 200.0, 0.0, 20.0, 0.0, 50.0,
        "2026-06-21T10:00:00.000Z", None, None, eta_s, alarms, ["reached"], False,
    )
    return StatusDoc("bindery", "2026-06-21T10:05:00.000Z", [sensor], [print_])


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_it_is_wrapped_and_nothing_is_lost(width: int) -> None:
    lines = [line for line, _ in live_lines(_status(["link", "silent"], None), width)]
    assert max(map(len, lines)) <= max(width, 52), "a bar cannot be wrapped below its least width"
    said = " ".join(" ".join(lines).split())
    assert ADVICE in said.replace("by-id/usb- a", "by-id/usb-a") or width < 80
    assert "one after" in said and "time left unknown while silent" in said and "0:00 left" not in said


def test_the_time_left_is_unknown_only_while_silent() -> None:
    for alarms in (["silent"], ["link"], ["gap", "link", "silent"]):
        assert "time left unknown while silent" in plain_lines(_status(alarms, None))[-1]
        assert "  39 %  unknown\n" in status_text(_status(alarms, None))
    assert "5:00 left" in plain_lines(_status(["noisy"], 300.0))[-1]
    assert "unknown" not in plain_lines(_status(["silent"], None, "held"))[-1]


def test_a_figure_stays_with_its_unit() -> None:
    text = "look at 70 %, lead 60 s, +0.17 stops, 2565 mJ/cm², 9 counts·s "
    for width in range(20, 70):
        lines = wrap(text * 4, rest="", width=width)
        assert " ".join(lines) == (text * 4).strip()
        assert not any(line.startswith(("%", "s,", "stops", "mJ", "counts")) for line in lines)
