"""Calls on paper: looks, lead, target, overshoot, holes, holds, count-in. Simulated minutes in milliseconds."""

from __future__ import annotations

import pytest
from exposure.table import PaperBench, us

from uvdose.exposure.coming import call_due_us
from uvdose.exposure.states import Act
from uvdose.model import Refusal, RegisterReading


def test_a_print_in_steady_light() -> None:
    paper = PaperBench(lambda s: 50.0)
    e = paper.start(2500.0, looks=(0.7,), lead_s=60.0)  # 25 kJ/m² at 50 W/m²: 500 s
    paper.pass_to(700)
    assert paper.times("look") == [pytest.approx(5 + 350, abs=1e-3)]
    assert paper.times("lead") == [pytest.approx(5 + 440, abs=1e-3)]
    assert paper.times("reached") == [pytest.approx(5 + 500, abs=1e-3)]
    # +1/6 and +1/3 stop: 2^(1/6) and 2^(1/3) times the dose
    assert paper.times("overshoot") == [pytest.approx(5 + 500 * 2 ** (1 / 6), abs=1e-3),
                                        pytest.approx(5 + 500 * 2 ** (1 / 3), abs=1e-3)]
    assert e.state == "reached" and e.figures(paper.bench.channels["sill"].track, us(paper.now)).dose > 25_000


def test_an_overshoot_never_comes_within_30_s_of_the_target() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(100.0, lead_s=0)  # 20 s; +1/6 stop would be 2.4 s later
    paper.pass_to(60)
    assert paper.times("overshoot") == [paper.times("reached")[0] + 30] * 2
    assert [k for k, _ in paper.rings] == ["reached", "overshoot:0.166667", "overshoot:0.333333"]
    assert len(paper.bench.exposures[1].open_calls) == 2, "the second overshoot has taken the first one's place"


def test_the_crossing_is_predicted_between_readings() -> None:
    paper = PaperBench(lambda s: 30.0)
    paper.start(100.0, lead_s=0)  # 33.33 s
    paper.pass_to(39)
    ((_, at),) = [x for x in paper.told() if x[0] == "reached"]
    assert at == pytest.approx(5 + 100 / 3, abs=1e-3)
    told_in = next(out for out in paper.outcomes if any(f.name == "reached" for f in out.facts))
    assert not told_in.readings, "it came from a tick, before the reading"


def test_a_lead_call_is_none_while_the_person_still_stands_there() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(200.0, lead_s=60.0)  # 40 s in all
    paper.pass_to(50)
    assert paper.times("lead") == []


def test_the_lead_reckons_with_the_fastest_light() -> None:
    paper = PaperBench(lambda s: 60.0 if s < 60 else 20.0)
    paper.pass_to(60)
    paper.start(1000.0, lead_s=60.0)
    paper.pass_to(600)
    lead, reached = paper.times("lead")[0], paper.times("reached")[0]
    assert lead == pytest.approx(60 + (10_000 - 60 * 60) / 20, abs=1.1)
    assert reached - lead > 60


def test_hold_and_finish_end_the_calls_and_quiet_only_the_present_one() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(100.0, lead_s=0)
    paper.pass_to(30)
    paper.keep(paper.bench.quiet(None, us(30)))
    with pytest.raises(Refusal):
        paper.bench.quiet(1, us(30))
    paper.pass_to(60)
    assert paper.bench.exposures[1].open_calls, "a later overshoot calls again"
    out = paper.keep(paper.bench.act(1, Act.HOLD, us(60)))
    assert out.hushes and not paper.bench.exposures[1].open_calls
    paper.pass_to(300)
    assert [(k, t) for k, t in paper.rings if t > 60] == [("reminder:1", 240.0)], "only that it is still held"


def test_held_time_counts_nothing() -> None:
    paper = PaperBench(lambda s: 50.0)
    e = paper.start(1e4, lead_s=0)
    paper.pass_to(105)
    paper.bench.act(1, Act.HOLD, us(105))
    paper.pass_to(205)
    paper.bench.act(1, Act.RESUME, us(205))
    paper.pass_to(305)
    paper.bench.act(1, Act.FINISH, us(305))
    paper.pass_to(310)
    assert e.settled and e.account.figures().dose == pytest.approx(50.0 * 200, rel=1e-12)
    assert e.account.figures().measured_s == 200


def test_several_on_one_sensor_each_with_its_own_target() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.start(100.0, 1, "left", lead_s=0)
    paper.pass_to(15)
    paper.start(200.0, 2, "right", lead_s=0)
    with pytest.raises(Refusal, match="frame left is taken by exposure 1"):
        paper.start(100.0, 3, "left")
    paper.pass_to(100)
    assert paper.times("reached", 1) == [pytest.approx(25, abs=1e-3)]
    assert paper.times("reached", 2) == [pytest.approx(55, abs=1e-3)]


def test_a_count_in_begins_on_the_beat() -> None:
    paper = PaperBench(lambda s: 50.0)
    e = paper.start(100.0, count_in_s=3, lead_s=0)
    assert e.state == "waiting" and paper.told() == []
    paper.pass_to(40)
    assert paper.times("started") == [8.0]
    assert paper.times("reached") == [pytest.approx(28, abs=1e-3)]


def test_finished_before_its_beat_it_is_void() -> None:
    paper = PaperBench(lambda s: 50.0)
    e = paper.start(100.0, count_in_s=30)
    paper.bench.act(1, Act.FINISH, us(6))
    paper.pass_to(60)
    assert e.state == "void" and e.account.figures().dose == 0


@pytest.mark.parametrize("register", [True, False])
def test_silence_calls_by_the_central_estimate(register: bool) -> None:
    """Rule 9: the alarm at once beyond 60 s, the target call when dose and missing light together reach it."""
    paper = PaperBench(lambda s: 50.0, register)
    paper.start(2000.0, lead_s=0)  # 400 s
    paper.pass_to(205)
    paper.mute = True
    paper.pass_to(500)
    alarms = [(f.data["alarm"], f.t_us / 1e6) for f in paper.facts if f.name == "alarm"]
    assert ("gap", 265.0) in alarms and ("silent", 210.0) in alarms
    assert paper.times("reached") == [pytest.approx(405, abs=1)]
    e = paper.bench.exposures[1]
    f = e.figures(paper.bench.channels["sill"].track, us(500))
    assert f.dose == pytest.approx(50 * 203, rel=1e-9), "what was read, and the next reading or two"
    assert (f.missing, f.missing_s) == (pytest.approx(50 * 292, rel=1e-9), 292)
    paper.mute = False
    paper.pass_to(505)
    f = e.figures(paper.bench.channels["sill"].track, us(505))
    assert [x.name for x in paper.facts if x.name == "cleared"] != []
    if register:
        assert (f.dose, f.missing_s, f.bridged_s) == (pytest.approx(50 * 500), 0, 0), "the register lost nothing"
    else:
        assert f.missing_s == 296 and f.dose == pytest.approx(50 * 204, rel=1e-9), "and it has not fallen"
        assert ("gap", 501.0) in paper.told()


def test_a_look_call_when_missing_light_may_be_enough() -> None:
    paper = PaperBench(lambda s: 80.0 if s < 100 else 20.0, register=False)
    paper.pass_to(110)
    paper.start(1500.0, lead_s=0, looks=())
    paper.pass_to(200)
    paper.mute = True
    paper.pass_to(2000)
    look, reached = paper.times("look")[0], paper.times("reached")[0]
    assert look < reached
    assert [k for k, _ in paper.rings][:2] == ["look:missing", "reached"]


def test_a_wall_jump_changes_nothing_because_no_wall_time_comes_in() -> None:
    import inspect

    from uvdose.dose import account, integrator, order, timebase
    from uvdose.exposure import bench, channel, exposure

    for module in (account, integrator, order, timebase, bench, channel, exposure):
        assert "wall" not in inspect.getsource(module)


def test_an_absent_sensor_does_not_spin_the_timer() -> None:
    paper = PaperBench(lambda s: 50.0)
    sill = paper.bench.channels["sill"]
    channel = paper.bench.add_sensor("gone", sill.identity, sill.track.response)
    channel.resumed(us(paper.now), us(5))
    late = us(paper.now + 3600)
    paper.keep(paper.bench.tick(late))
    assert paper.bench.next_us(late) > late


def test_no_start_on_a_sensor_that_is_silent() -> None:
    paper = PaperBench(lambda s: 50.0)
    paper.mute = True
    paper.pass_to(60)
    with pytest.raises(Refusal, match="sill is silent"):
        paper.start(100.0)


def test_an_act_is_fixed_on_the_line_that_now_brings() -> None:
    paper = PaperBench(lambda s: 50.0)
    e = paper.start(1e4, lead_s=0, after_s=0.05)
    assert e.acts[0].mark.register == paper._sum + 25_000, "told from the level of now"
    line = RegisterReading(9, 99, 5100, 500_000, paper._sum + 51_000, 0, 0, 0)
    out = paper.keep(paper.bench.take("sill", [line], us(5.1)))
    assert [(number, mark.register) for _, number, mark in out.refined] == [(0, paper._sum + 51_000)]
    late = RegisterReading(9, 100, 8000, 500_000, paper._sum + 1_500_000, 0, 0, 0)
    paper.keep(paper.bench.act(1, Act.HOLD, us(6.0)))
    out = paper.keep(paper.bench.take("sill", [late], us(8.0)))
    assert out.refined == [] and e.acts[1].cut.t_us == us(6.0), "a line that comes late does not move the act"


def test_the_next_call_that_is_kept_is_the_one_reckoned_anew() -> None:
    """Reckoned once for each reading, act and call; in between nothing moves it but the rounding of a microsecond."""
    paper = PaperBench(lambda s: 50.0 + s % 7)
    e = paper.start(1200.0, looks=(0.3, 0.7), lead_s=30.0)
    track = paper.bench.channels["sill"].track
    seen = set()
    for second in range(6, 420):
        paper.pass_to(second)
        if second in (60, 200):
            paper.keep(paper.bench.act(1, Act.HOLD, us(second)))
        if second in (70, 203):
            paper.keep(paper.bench.act(1, Act.RESUME, us(second)))
        for now_us in (us(second), us(second) + 400_000):
            kept = call_due_us(e, track, now_us)
            e.due_known = ()
            anew = call_due_us(e, track, now_us)
            assert abs(anew - kept) <= 2 or (kept <= now_us and anew <= now_us)
            seen.add(kept)
    assert len(seen) > 200 and [k for k, _ in paper.rings][:4] == ["look:0.3", "look:0.7", "lead", "reached"]


@pytest.mark.parametrize("value", [5e-324, 1e-310, 1e-200])
def test_a_light_that_is_hardly_a_number_ends_nothing(value: float) -> None:
    """The decoders take it, rightly: it is finite and small. When the target comes at it is beyond all numbers."""
    paper = PaperBench(lambda s: 50.0 if s < 10 else value if s < 14 else 50.0, register=False)
    paper.start(100.0, lead_s=0)
    paper.pass_to(40)
    assert len(paper.times("reached")) == 1
