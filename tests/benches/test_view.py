"""All benches at one broker: messages in, a view out, cell by cell.

What a broker does is MQTT 3.1.1 (OASIS, 2014): a message on a new subscription that was kept before has its retain flag
set, one for a subscription that is there has not (3.3.1.3), also when a bridge passes on what it had kept.
"""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from uvdose import overlook
from uvdose.benches import MOST_ALARMS, MOST_BENCHES, MOST_BYTES, MOST_SHOWN, MOST_TEXT, QUIET_S, Benches, read_state
from uvdose.config import MqttSettings
from uvdose.listed import BenchDoc

UTC = "2026-11-26T10:00:00.000Z"


def exposure(number: int = 1, **more: Any) -> dict[str, Any]:
    return {
        "id": number, "target": "blue", "target_version": 2, "sensor": "sill", "frame": "1", "state": "counting",
        "unit": "mJ/cm2", "target_dose": 2565.0, "dose": 900.0, "dose_low": 890.0, "dose_high": 910.0, "fraction": 0.35,
        "measured_s": 100.0, "bridged_s": 0, "missing_s": 0, "saturated_s": 0, "missing_dose": 0, "started_utc": None,
        "reached_utc": None, "finished_utc": None, "eta_s": 200.0, "alarms": [], "calls": [], "settled": False,
    } | more  # fmt: skip


def sensor(name: str = "sill", **more: Any) -> dict[str, Any]:
    return {
        "name": name, "state": "live", "irradiance": 5.0, "unit": "mW/cm2", "age_s": 0.1, "alarms": [], "readings": 9,
        "bad_inputs": 0, "late": 0,
    } | more  # fmt: skip


def state(second: int = 0, *exposures: dict[str, Any], **more: Any) -> bytes:
    utc = UTC.replace(":00.000", f":{second:02d}.000")
    doc = {"bench": "x", "utc": utc, "sensors": [sensor()], "exposures": list(exposures), "troubles": []} | more
    return json.dumps(doc).encode()


def listening() -> Benches:
    all_ = Benches("127.0.0.1:1883")
    all_.greeted(0.0)
    return all_


def one(all_: Benches, now_s: float) -> BenchDoc:
    (bench,) = all_.view(now_s, UTC).benches
    return bench


SAID, ONLINE = "uvdose/porch/state", "uvdose/porch/online"


def living(now_s: float = 2.0) -> Benches:
    """Its figures have moved before our eyes."""
    all_ = listening()
    all_.take(ONLINE, b"1", True, 0.1)
    all_.take(SAID, state(0, exposure()), True, 0.1)
    all_.take(SAID, state(1, exposure()), False, now_s)
    return all_


def test_what_moves_is_here_and_its_age_goes_by_our_clock() -> None:
    bench = one(living(), 2.5)
    assert (bench.name, bench.state, bench.online, bench.age_s, bench.at_least_s) == ("porch", "here", True, 0.5, None)
    assert bench.utc == "2026-11-26T10:00:01.000Z" and [e.id for e in bench.exposures] == [1]


@pytest.mark.parametrize(("messages", "now_s", "word"), [
    # (topic, payload, retained, when)
    ([(ONLINE, b"1", True, 0.1)], 1.0, "unheard"),
    ([(ONLINE, b"1", True, 0.1)], 6.0, "silent"),
    ([(ONLINE, b"0", True, 0.1)], 0.2, "gone"),
    ([(SAID, state(0), True, 0.1)], 1.0, "unheard"),
    ([(SAID, state(0), True, 0.1)], 6.0, "silent"),
    ([(SAID, state(0), False, 0.1)], 1.0, "unheard"),  # one alone may be what a bridge had kept
    ([(SAID, state(0), False, 0.1), (SAID, state(0), False, 1.1)], 1.2, "unheard"),  # the same once more
    ([(SAID, state(0), False, 0.1), (SAID, state(1), False, 1.1)], 1.2, "here"),  # from a bench of old without online
    ([(SAID, state(0), True, 0.1), (SAID, state(1), True, 0.2)], 1.2, "unheard"),
    ([(SAID, state(5), True, 0.1), (SAID, state(4), False, 1.1)], 1.2, "here"),  # its clock was set back
    ([(SAID, state(0), True, 0.1), (SAID, state(1), False, 1.1)], 1.1 + QUIET_S, "here"),
    ([(SAID, state(0), True, 0.1), (SAID, state(1), False, 1.1)], 1.2 + QUIET_S, "silent"),
    ([(SAID, state(0), True, 0.1), (SAID, state(1), False, 1.1), (ONLINE, b"0", False, 1.2)], 1.3, "gone"),
    # its last will, and then a bridge sends once more what it had kept
    ([(SAID, state(0), True, 0.1), (SAID, state(1), False, 1.1), (ONLINE, b"0", False, 1.2),
      (SAID, state(1), False, 2.0)], 2.1, "gone"),
    # a late last will of an older connection, and it goes on
    ([(SAID, state(0), True, 0.1), (ONLINE, b"0", False, 0.5), (SAID, state(1), False, 1.1)], 1.2, "here"),
    # a bridge that was down brings all at once, the last will at the end
    ([(SAID, state(i), False, 3.0) for i in range(5)] + [(ONLINE, b"0", False, 3.0)], 3.1, "gone"),
    ([(ONLINE, b"0", True, 0.1), (ONLINE, b"1", False, 1.0)], 1.5, "unheard"),
    ([(ONLINE, b"maybe", True, 0.1)], 6.0, "silent"),
])  # fmt: skip
def test_each_state(messages: list[tuple[str, bytes, bool, float]], now_s: float, word: str) -> None:
    all_ = listening()
    for message in messages:
        all_.take(*message)
    assert one(all_, now_s).state == word


def test_what_the_broker_kept_is_of_an_age_that_nobody_knows() -> None:
    """The other machine's clock says ten in the morning; whatever ours says, no age is made of the two."""
    all_ = listening()
    all_.take(SAID, state(0, exposure()), True, 3.0)
    bench = one(all_, 7.5)
    assert (bench.age_s, bench.at_least_s, bench.utc) == (None, 4.5, UTC)


def test_a_lost_broker_makes_nobody_look_alive_or_gone() -> None:
    all_ = living()
    all_.lost("nothing answers")
    found = all_.view(60.0, UTC)
    assert (found.listened_s, found.trouble) == (None, "nothing answers")
    assert (found.benches[0].state, found.benches[0].age_s) == ("unheard", 58.0)
    all_.greeted(100.0)
    assert one(all_, 101.0).state == "unheard" and one(all_, 106.0).state == "silent"
    all_.take(SAID, state(9, exposure()), True, 100.1)
    assert one(all_, 101.0).state == "unheard" and one(all_, 101.0).age_s is None
    all_.take(SAID, state(10, exposure()), False, 101.2)
    assert one(all_, 101.3).state == "here" and all_.view(101.3, UTC).trouble == ""


def test_ended_prints_are_counted_and_many_are_bounded() -> None:
    all_ = listening()
    done = [exposure(i, state="finished") for i in range(3)] + [exposure(90, state="void")]
    all_.take(SAID, state(0, *done, *(exposure(100 + i) for i in range(MOST_SHOWN + 6))), True, 0.1)
    bench = one(all_, 1.0)
    assert (bench.finished, len(bench.exposures), bench.more) == (3, MOST_SHOWN, 6)


def test_alarms_are_those_of_its_sensors() -> None:
    all_ = listening()
    ill = sensor("roof", state="silent", alarms=["no reading for 9 s"], alarm_keys=["silent"])
    bare = sensor("old", alarms=["no link"])
    all_.take(SAID, state(0, sensors=[sensor(), ill, bare], troubles=["disk full"]), True, 0.1)
    bench = one(all_, 1.0)
    assert [(a.sensors, a.key, a.line, a.more) for a in bench.alarms] == [
        (["roof"], "silent", "no reading for 9 s", 0), (["old"], "", "no link", 0)]  # fmt: skip
    assert (bench.sensors, bench.troubles) == (3, ["disk full"])


def test_an_alarm_of_many_sensors_is_told_once() -> None:
    all_ = listening()
    many = [sensor(f"n{i}", alarms=["no link to it", f"late {i}"], alarm_keys=["link"]) for i in range(200)]
    all_.take(SAID, state(0, sensors=many), True, 0.1)
    alarms = one(all_, 1.0).alarms
    assert alarms[0].key == "link" and alarms[0].sensors[:2] == ["n0", "n1"]
    assert len(alarms[0].sensors) + alarms[0].more == 200
    assert len(alarms) == MOST_ALARMS


@pytest.mark.parametrize("payload", [
    b"{", b"null", b"7", b"[]", b'{"bench": "x"}', b"\xff\xfe\x00", b"[" * 100_000, b"x" * (MOST_BYTES + 1),
    state(0, utc="soon"), state(0, utc=7), state(0, exposure(dose=1e300)), state(0, exposure(eta_s=-1e16)),
    state(0, exposure(state="dancing")), state(0, exposure(fraction="much")), state(0, exposures=[exposure()] * 401),
    state(0).replace(b'"sensors"', b'"sensors": NaN, "s"'), state(0, exposure()).replace(b"0.35", b"1e999"),
    state(0, troubles=[[[[[[[[[[]]]]]]]]]]), state(0, exposure()).replace(b"0.35", b"1" + b"0" * 400),
    state(0, exposure(1)).replace(b'"id": 1', b'"id": -1' + b"0" * 400), state(0, utc="2026-06-31T10:00:00Z"),
    state(0, utc="9999-99-99T99:99:99Z"), state(0, utc="0001-01-01T00:00:00Z"), state(0, utc="9999-12-31T23:59:59Z"),
    state(0, utc="\u0662\u0660\u0662\u0666-01-01T10:00:00Z"), state(0, utc="2026-01-01T24:00:00Z"),
])  # fmt: skip
def test_what_cannot_be_read_changes_nothing_but_a_count(payload: bytes) -> None:
    all_ = living()
    all_.take(SAID, payload, False, 2.5)
    bench = one(all_, 3.0)
    assert (bench.unread, bench.age_s, [e.id for e in bench.exposures]) == (1, 1.0, [1])
    all_.take(SAID, state(3), False, 3.5)
    assert one(all_, 3.6).unread == 0


def test_texts_are_cut_and_cleared() -> None:
    said = read_state(state(0, exposure(label="a\x1b[2Jb\u202ec\nd" + "x" * 900, noted={"pa\x07per": "<b>"})))
    assert said is not None
    (shown,) = said.exposures
    assert shown.label.startswith("a [2Jb c d") and len(shown.label) == MOST_TEXT
    assert shown.noted == {"pa per": "<b>"}  # a page shows it as text


@pytest.mark.parametrize("topic", [
    "", "uvdose//state", "uvdose/a b/state", "uvdose/-a/state", "uvdose/" + "a" * 41 + "/state", "uvdose/a/state/x",
    "uvdose/ä/online", "uvdose/a/event", "else/a/state", "uvdose/<b>/state", "uvdose/a/state\n",
])  # fmt: skip
def test_topics_that_are_no_benchs_are_counted_alone(topic: str) -> None:
    all_ = listening()
    all_.take(topic, state(0), False, 1.0)
    found = all_.view(1.0, UTC)
    assert (found.benches, found.left_out) == ([], 1)


def test_a_flood_of_names_keeps_no_bench_out_that_is_here() -> None:
    all_ = living()
    for i in range(MOST_BENCHES * 3):
        all_.take(f"uvdose/fake{i}/state", state(0), True, 3.0 + i / 1000)
    all_.take("uvdose/roof/state", state(0), False, 4.0)
    all_.take("uvdose/roof/state", state(1), False, 5.0)
    found = all_.view(5.0, UTC)
    assert len(found.benches) == MOST_BENCHES and found.left_out > 0
    assert [b.name for b in found.benches if b.state == "here"] == ["porch", "roof"]


def test_what_was_taken_away_at_the_broker_is_forgotten() -> None:
    """An empty retained message takes the kept one away (MQTT 3.1.1, 3.3.1.3), and is passed on as a message."""
    all_ = living()
    all_.take(SAID, b"", False, 3.0)
    assert one(all_, 3.1).utc is None and one(all_, 3.1).exposures == []
    all_.take(ONLINE, b"", False, 3.2)
    assert all_.view(3.3, UTC).benches == []
    all_.take("uvdose/never/state", b"", False, 3.4)
    assert all_.view(3.5, UTC).benches == []


def test_benches_stand_by_name_and_number() -> None:
    all_ = listening()
    for name in ("bench10", "bench2", "Attic", "2nd"):
        all_.take(f"uvdose/{name}/online", b"1", True, 0.1)
    assert [b.name for b in all_.view(1.0, UTC).benches] == ["2nd", "Attic", "bench2", "bench10"]


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(max_size=5), inner), max_leaves=8,
).map(lambda v: json.dumps(v).encode())
PAYLOADS = st.one_of(
    st.binary(max_size=60), ANY_JSON, st.sampled_from([state(0), state(1, exposure()), b"0", b"1", b""])
)
TOPICS = st.sampled_from([SAID, ONLINE, "uvdose/a/state", "x", ""])


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(TOPICS, PAYLOADS, st.booleans()), max_size=25))
def test_no_message_ever_raises(messages: list[tuple[str, bytes, bool]]) -> None:
    all_ = listening()
    for i, (topic, payload, retained) in enumerate(messages):
        all_.take(topic, payload, retained, float(i))
        for bench in all_.view(float(i), UTC).benches:
            assert bench.state in ("here", "silent", "gone", "unheard")
            assert bench.age_s is None or bench.at_least_s is None


def _held(value: Any) -> int:
    """How many values something holds, down to the last."""
    if isinstance(value, dict):
        return sum(_held(v) for v in value.values())
    if isinstance(value, list | tuple):
        return sum(map(_held, value))
    names = getattr(value, "__struct_fields__", None) or getattr(value, "__dict__", ())
    return 1 + sum(_held(getattr(value, name)) for name in names)


def test_of_much_that_is_said_little_is_kept() -> None:
    """What is looked at each second must not hold up whoever counts: it is cut when it comes, not when it is shown."""
    lines = [str(i) for i in range(300)]
    keys = {str(i): "x" for i in range(300)}
    long = [
        state(0, sensors=[sensor(f"n{i}", alarms=lines) for i in range(300)]),
        state(0, *[exposure(i, alarms=lines, calls=lines, unanswered=lines, noted=keys) for i in range(60)]),
    ]
    for payload in long:
        assert len(payload) < MOST_BYTES
        all_ = listening()
        all_.take(SAID, payload, False, 1.0)
        assert _held(all_) < 3000
    (shown, *_) = one(all_, 1.5).exposures
    assert shown.unanswered[-1] == "299" and one(all_, 1.5).more == 60 - MOST_SHOWN


def test_a_message_is_read_while_others_may_look(monkeypatch: pytest.MonkeyPatch) -> None:
    """And who floods the broker is read in a part of the time alone."""
    heard: list[Any] = []
    monkeypatch.setattr(overlook, "BenchesEar", lambda *given: heard.append(given[-1]) or SimpleNamespace(
        begin=lambda: None, end=lambda: None
    ))
    look = overlook.Overlook(MqttSettings(), Path())
    look.now()
    now, rests, read = [0.0], [], overlook.read_message
    monkeypatch.setattr(overlook, "real_s", lambda: now[0])
    monkeypatch.setattr(overlook, "pause", rests.append)

    def reads(topic: str, payload: bytes) -> Any:
        now[0] += 0.5
        assert look.now().benches == []  # the lock is not held
        return read(topic, payload)

    monkeypatch.setattr(overlook, "read_message", reads)
    heard[0].take(SAID, state(0), False)
    assert [b.name for b in look.now().benches] == ["porch"] and rests == [pytest.approx(1.5)]
