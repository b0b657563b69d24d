"""What a person is told of silence, of lines that cannot be read, and of a call that sounds again."""

from __future__ import annotations

import msgspec
import pytest
from exposure.table import IDENTITY, RESPONSE, PaperBench, us

from uvdose.exposure.channel import Channel
from uvdose.exposure.document import document
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.telling import told_again
from uvdose.model import BadInput, MomentReading

BAD = BadInput("not a number", "UV: 3.2")
PLAIN = msgspec.structs.replace(IDENTITY, format="number")


def _shown(paper: PaperBench, exposure: Exposure) -> tuple[float | None, list[str]]:
    channel = paper.bench.channels["sill"]
    doc = document(exposure, channel.track, us(paper.now), sorted(channel.health.active))
    return doc.eta_s, doc.alarms


def test_a_call_again_tells_the_share_of_now() -> None:
    paper = PaperBench(lambda s: 50.0)  # 5 mJ/cm² a second
    exposure = paper.start(200.0)
    paper.pass_to(65)
    ring = next(r for out in paper.outcomes for r in out.rings if r.kind == "reached")
    assert ring.text == "reached blue, frame 1, 100 %" and ring.t_us == us(45)
    track = paper.bench.channels["sill"].track
    assert told_again(exposure, ring, track, us(65)) == "reached blue, frame 1, now 150 %, since 0:20"
    looked = msgspec.structs.replace(ring, kind="reminder")
    assert told_again(exposure, looked, track, us(65)).startswith("still held: blue, frame 1")


@pytest.mark.parametrize("alarm", ["silent", "link", "gap"])
def test_silence_is_told_as_it_is_for_the_kind_of_sensor(alarm: str) -> None:
    """Only a node with a register counts on while nobody hears it."""
    lines = {}
    for kind in (IDENTITY, PLAIN):
        health = Channel("sill", kind, RESPONSE).health
        changes = health.link(False, "no port", 0) if alarm == "link" else health.set(alarm, True)
        lines[kind.format] = changes[0].line
    node, plain = lines["native"], lines["number"]
    assert "node" in node and "bridged" not in node
    assert "node" not in plain and "register" not in plain and "missing" in plain


def test_silence_after_a_lost_link_says_it_short() -> None:
    health = Channel("sill", PLAIN, RESPONSE).health
    health.link(True, "", 0)
    health.link(False, "no port", 0)
    assert health.tick(us(60))[0].line == "no reading comes, since there is no link"


def test_the_time_left_is_not_told_while_nobody_knows_it() -> None:
    paper = PaperBench(lambda s: 50.0)
    exposure = paper.start(2000.0)
    paper.pass_to(20)
    eta_s, alarms = _shown(paper, exposure)
    assert eta_s is not None and eta_s > 100 and alarms == []
    paper.mute = True
    paper.pass_to(30)
    assert _shown(paper, exposure) == (None, ["silent"])
    paper.mute = False
    paper.pass_to(40)
    assert _shown(paper, exposure)[0] is not None


def test_lines_that_cannot_be_read_are_an_alarm_until_one_can() -> None:
    channel = Channel("sill", PLAIN, RESPONSE)
    channel.health.link(True, "", 0)
    assert channel.bad(BAD, us(0)) == [] and channel.bad(BAD, us(1)) == []
    (raised,) = channel.bad(BAD, us(2))
    assert raised.alarm == "unreadable" and raised.raised
    for words in ("cannot be read (not a number)", "'UV: 3.2'", "nothing is counted", 'format = "label"', '"UV"'):
        assert words in raised.line, raised.line
    assert channel.last_bad == "not a number: 'UV: 3.2'" and channel.bad(BAD, us(3)) == []
    assert channel.health.tick(us(60))[0].line == "no reading comes that can be read"
    _, changes = channel.take(MomentReading(3.2), us(61))
    assert {(c.alarm, c.raised) for c in changes} == {("unreadable", False), ("silent", False)}


def test_noise_between_readings_is_no_alarm() -> None:
    """A board that also says other things, and a burst of rubbish."""
    channel = Channel("sill", PLAIN, RESPONSE)
    for second in range(60):
        assert channel.bad(BAD, us(second)) == [] and channel.bad(BAD, us(second)) == []
        channel.take(MomentReading(3.2), us(second))
    assert [c for _ in range(50) for c in channel.bad(BAD, us(60))] == []
