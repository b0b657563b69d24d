"""The outlook of a bench from its journal: the measured June at Payerne, and days of which nothing is known."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
import numpy as np
import pytest
from support.june import COUNTS, SETTINGS, SILL, at_us, measured
from support.payerne import day_w_m2

from uvdose.ahead import look_ahead
from uvdose.config import Settings, parse_settings
from uvdose.dose.response import identity_of
from uvdose.exposure.target import Target
from uvdose.foretold import FitDoc, OutlookDoc, Question, QueueAheadDoc, WaitingDoc
from uvdose.journal.recorder import Recorder
from uvdose.journal.store import Store
from uvdose.model import ProvedLight, Refusal
from uvdose.review.outlook_text import queue_lines, render
from uvdose.same_light import Drift, SameLight
from uvdose.stamps import from_iso, local_time

CLEAR_NOON = at_us(23 + 11.5 / 24)


@contextmanager
def zone(name: str) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", name)
        time.tzset()
        yield
    time.tzset()


@pytest.fixture(autouse=True)
def in_utc() -> Iterator[None]:
    with zone("UTC"):
        yield


@pytest.fixture(scope="module")
def clear_noon(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(measured(tmp_path_factory.mktemp("june") / "journal.sqlite3", 23 + 11.5 / 24))


def settings(**bench: object) -> Settings:
    told = parse_settings(SETTINGS, "-")
    return msgspec.structs.replace(told, bench=msgspec.structs.replace(told.bench, **bench))


def look(store: Store, now_us: int = CLEAR_NOON, told: Settings | None = None, **asked: object) -> OutlookDoc:
    return look_ahead(store, told or settings(), Question(**asked), now_us)  # type: ignore[arg-type]


def taken_s(day: int, begin_minute: int, dose: float) -> float:
    """How long it took in the measured light."""
    light = np.concatenate([[0.0], np.cumsum(60.0 * np.array(day_w_m2(day)))])
    minute = np.arange(1441)
    start = np.interp(begin_minute, minute, light)
    return float(np.interp(start + dose, light, minute) - begin_minute) * 60.0


def test_a_clear_noon_foretells_its_afternoon(clear_noon: Store) -> None:
    """BSRN Payerne, 23 June 2016, 11:30 UTC: the clear sky's times are those that were measured after, within 5 %, and
    now, after a clear hour, the range is far narrower than for half an hour later."""
    doc = look(clear_noon, names=("blue",))
    (blue,) = doc.targets
    assert doc.level == "measured" and doc.date == "2016-06-23" and doc.days == 14
    assert doc.sky_low is not None and doc.sky_high is not None and doc.sky_low < 0.5 < 0.9 < doc.sky_high
    assert [local_time(from_iso(b.utc))[:5] for b in blue.begun[:2]] == ["12:00", "13:00"]
    for begun in blue.begun:
        minute = (from_iso(begun.utc) - at_us(23)) // 60_000_000
        if minute <= 16 * 60:
            actual = taken_s(23, minute, 25_650.0)
            assert begun.clear_s == pytest.approx(actual, rel=0.05)
            assert begun.clear_low_s is not None and begun.clear_high_s is not None
            assert begun.clear_low_s < actual < begun.clear_high_s
    now = blue.now
    assert now is not None and now.low_s is not None and now.high_s is not None and now.typical_s is not None
    later = blue.begun[0]
    assert later.low_s is not None and later.high_s is not None
    assert now.high_s / now.low_s < 1.4 < 2.5 < later.high_s / later.low_s
    assert now.typical_s == pytest.approx(taken_s(23, 690, 25_650.0), rel=0.1)


def test_the_last_start_and_what_fits(clear_noon: Store) -> None:
    doc = look(clear_noon, names=("blue", "never"))
    blue, never = doc.targets
    assert blue.last_clear_utc is not None and blue.last_typical_utc is not None and doc.sunset_utc is not None
    assert blue.last_typical_utc < blue.last_clear_utc < doc.sunset_utc
    assert blue.fit.poor is not None and blue.fit.typical is not None and blue.fit.good is not None
    assert blue.fit.poor < blue.fit.typical < blue.fit.good <= blue.fit.clear
    minute = (from_iso(blue.last_clear_utc) - at_us(23)) // 60_000_000
    light = 60.0 * np.array(day_w_m2(23))
    assert light[minute:].sum() == pytest.approx(25_650.0, rel=0.25), "the last light of the measured day"
    assert never.begun == [] and never.last_clear_utc is None and never.fit.clear == 0
    closer = look(clear_noon, names=("blue",), between_min=0.0).targets[0]
    assert closer.fit.clear > blue.fit.clear


def test_what_its_times_do_not_count_is_said(clear_noon: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """The correction of a print that is begun now, as `target show` has it, and an exponent of reciprocity."""
    told = settings()
    told = msgspec.structs.replace(told, sensor=[msgspec.structs.replace(told.sensor[0], part="GUVA-S12SD")])
    target = Target("blue", 1, 2565.0, p=0.86, proved_s=540.0, correct=True, proved_light=ProvedLight(3.0))
    monkeypatch.setattr(clear_noon, "versions", lambda name: [target])
    blue = look(clear_noon, told=told, names=("blue",)).targets[0]
    drift = SameLight(told).drift(target, "sill", CLEAR_NOON / 1e6)
    assert isinstance(drift, Drift) and drift.stops > 0.04
    assert blue.beside[0].startswith(f"its prints are corrected for the light: {drift.stops:+.2f} stop now")
    assert "p 0.86" in blue.beside[1] and "9:00 wants more" in blue.beside[1]
    assert "own dose" in render(look(clear_noon, told=told, names=("blue",)))
    assert look(clear_noon, names=("brown",)).targets[0].beside == [blue.beside[0].split(":")[0]
        + "; these times are of its own dose", blue.beside[1]], "without a part nothing is known of now"


def test_of_all_targets_those_that_the_sun_cannot_tell_are_left_out(clear_noon: Store) -> None:
    doc = look(clear_noon)
    assert [t.target for t in doc.targets] == ["blue", "brown", "never"]
    reasons = " / ".join(doc.left_out)
    assert "under lamp" in reasons and "counts.s" in reasons and len(doc.left_out) == 2, "retired ones go unmentioned"


@pytest.mark.parametrize(
    ("name", "words"),
    [("under lamp", "proved under lamp"), ("old", "retired"), ("counted", "counts.s"), ("nobody", "no target")],
)
def test_a_target_that_is_named_is_refused_with_the_reason(clear_noon: Store, name: str, words: str) -> None:
    with pytest.raises(Refusal, match=words):
        look(clear_noon, names=("blue", name))


def test_a_target_of_another_scale_of_this_sensor_is_refused_and_one_of_another_sensor_is_told(tmp_path: Path) -> None:
    """Physical doses compare from sensor to sensor; one whose settings have changed measures otherwise than then."""
    store = Store(measured(tmp_path / "journal.sqlite3", 23 + 11.5 / 24))
    recorder = Recorder(store.db, lambda t_us: t_us)
    for name, unit in (("roof", "W/m2"), ("sill", "mW/cm2")):
        bound = identity_of(msgspec.structs.replace(SILL, name=name, unit=unit))
        for sql, values in recorder.target(Target(f"of {name}", 1, 700.0, identity=bound)):
            store.db.execute(sql, values)
    assert look(store, names=("of roof",), sensor="sill").targets[0].now is not None
    with pytest.raises(Refusal, match="another sensor setting"):
        look(store, names=("of sill",))


def test_the_queue_in_its_order(clear_noon: Store) -> None:
    doc = look(clear_noon, queue=True)
    assert doc.queue is not None and doc.queue.fit.clear == 2
    ines, otto = doc.queue.waiting
    assert ines.target == "blue" and ines.clear_utc is not None and otto.clear_utc is not None
    first_s = (from_iso(ines.clear_utc) - CLEAR_NOON) / 1e6
    assert first_s == pytest.approx(taken_s(23, 690, 25_650.0), rel=0.05)
    assert (from_iso(otto.clear_utc) - from_iso(ines.clear_utc)) / 1e6 == pytest.approx(
        300 + taken_s(23, 710, 7000.0), rel=0.05)  # fmt: skip
    assert "Mia" in doc.left_out[-2] and "Kai" in doc.left_out[-1]
    given = look(clear_noon, names=("brown",), queue=True)
    assert given.queue is not None and [w.label for w in given.queue.waiting][-1] == "Kai"


def test_after_sunset_there_is_no_now_and_tomorrow_is_whole(clear_noon: Store) -> None:
    evening = look(clear_noon, at_us(23 + 22.0 / 24), names=("blue",))
    assert evening.targets[0].now is None and evening.targets[0].begun == []
    assert evening.targets[0].last_clear_utc is None and evening.targets[0].fit.clear == 0
    tomorrow = look(clear_noon, at_us(23 + 22.0 / 24), names=("blue",), date="2016-06-24", every_min=15)
    blue = tomorrow.targets[0]
    assert blue.now is None and len(blue.begun) > 40 and blue.fit.clear > 30
    gaps = {from_iso(b.utc) - from_iso(a.utc) for a, b in zip(blue.begun, blue.begun[1:], strict=False)}
    assert gaps == {900_000_000}


@pytest.mark.parametrize(("date", "hours"), [("2016-03-27", 23), ("2016-10-30", 25), ("2016-06-24", 24)])
def test_days_on_which_clocks_change(clear_noon: Store, date: str, hours: int) -> None:
    """Starts lie on whole hours of the local clock before and after the change."""
    with zone("Europe/Zurich"):
        doc = look(clear_noon, names=("blue",), date=date)
        shown = [local_time(from_iso(b.utc)) for b in doc.targets[0].begun]
        assert shown and all(text.endswith(":00:00") for text in shown), hours
        assert local_time(from_iso(doc.noon_utc))[:2] in ("13", "12") and doc.date == date


def test_the_day_is_that_of_the_local_clock_beyond_the_date_line(clear_noon: Store) -> None:
    """A bench in Auckland: its 24 June begins while the 23rd's noon is in Europe."""
    with zone("Pacific/Auckland"):
        doc = look(clear_noon, at_us(23 + 22.0 / 24), settings(latitude=-36.8, longitude=174.8), names=("blue",))
        assert doc.date == "2016-06-24" and local_time(from_iso(doc.noon_utc))[:2] == "12"
        assert doc.targets[0].now is not None, "ten in the morning"


def test_polar_night_and_day(clear_noon: Store) -> None:
    north = settings(latitude=78.2, longitude=15.6)
    dark = look(clear_noon, told=north, names=("blue",), date="2016-12-21")
    assert dark.sun_always == "down" and dark.light == [] and dark.caution is None and dark.targets[0].begun == []
    bright = look(clear_noon, told=north, names=("blue",), date="2016-06-24")
    assert bright.sun_always == "up" and bright.sunset_utc is None and len(bright.targets[0].begun) == 24


def test_held_to_the_sun_and_tilted(clear_noon: Store) -> None:
    """In the late afternoon a frame that is held to the sun is quicker than a level one, one that looks east slower."""
    def at_17(told: Settings) -> tuple[str, float]:
        doc = look(clear_noon, told=told, names=("brown",), date="2016-06-24")
        at = next(b for b in doc.targets[0].begun if b.utc.startswith("2016-06-24T17:00"))
        assert at.clear_s is not None
        return doc.facing, at.clear_s

    level, sun, east = (
        at_17(told) for told in
        (settings(), settings(facing="sun"), settings(facing="tilted", tilt_deg=30.0, azimuth_deg=90.0))
    )  # fmt: skip
    assert (level[0], sun[0], east[0]) == ("flat", "held to the sun", "tilted 30°, looking to 90°")
    assert sun[1] < 0.7 * level[1] and east[1] > 1.3 * level[1]


def test_without_readings_the_models_level_with_its_doubts(tmp_path: Path) -> None:
    store = Store(measured(tmp_path / "journal.sqlite3", 1.0))
    doc = look(store, names=("blue",))
    assert doc.level == "model" and doc.days == 0 and doc.sky_typical is None and doc.level_days == []
    assert 0.7 < doc.level_low < 0.9 < 1.1 < doc.level_high < 1.4
    now = doc.targets[0].now
    assert now is not None and now.typical_s is None and now.clear_low_s is not None and now.clear_high_s is not None
    assert now.clear_low_s < taken_s(23, 690, 25_650.0) < now.clear_high_s
    assert doc.targets[0].fit.typical is None


def test_a_sensor_without_a_scale_learns_its_level_and_says_so_where_it_cannot(tmp_path: Path) -> None:
    """Counts, 20 of them for each W/m²: its targets are told in its own unit as those of a scaled one are."""
    told = settings()
    told = msgspec.structs.replace(told, sensor=[COUNTS])
    with_days = Store(measured(tmp_path / "a.sqlite3", 23 + 11.5 / 24, COUNTS, per_w_m2=20.0))
    doc = look(with_days, told=told, names=("counted",))
    begun = next(b for b in doc.targets[0].begun if b.utc.startswith("2016-06-23T12:00"))
    assert doc.unit == "counts" and begun.clear_s == pytest.approx(taken_s(23, 720, 2000.0), rel=0.05)
    for until in (1.0, 3.0):  # nothing yet, and two days without half an hour of clear sky
        cloudy = Store(measured(tmp_path / f"{until}.sqlite3", until, COUNTS, per_w_m2=20.0))
        with pytest.raises(Refusal, match="no half hour of clear sky"):
            look(cloudy, at_us(until), told=told, names=("counted",))


def test_a_covered_sensor_says_nothing_of_now(clear_noon: Store, tmp_path: Path) -> None:
    store = Store(measured(tmp_path / "journal.sqlite3", 23 + 11.5 / 24))
    open_sky = look(store, names=("blue",)).targets[0].now
    store.db.execute("DELETE FROM chunk WHERE id = (SELECT max(id) FROM chunk)")
    unknown = look(store, names=("blue",)).targets[0].now
    assert open_sky is not None and unknown is not None and open_sky.high_s is not None and unknown.high_s is not None
    assert unknown.high_s > 2 * open_sky.high_s


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"date": "2018-01-01"}, "more than a year"), ({"date": "tomorrow"}, "YYYY-MM-DD"),
        ({"every_min": 1}, "from 5"), ({"between_min": float("nan")}, "from 0"), ({"sensor": "roof"}, "no sensor"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_as_a_wrong_call(
    clear_noon: Store, asked: dict[str, object], words: str
) -> None:
    with pytest.raises(Refusal, match=words) as told:
        look(clear_noon, **asked)
    assert told.value.code == 2


def test_without_a_place_it_says_what_to_set(clear_noon: Store) -> None:
    with pytest.raises(Refusal, match=r"latitude and longitude .* under \[bench\]"):
        look(clear_noon, told=settings(latitude=None, longitude=None))


def test_caution_goes_by_the_sun_and_no_index_is_told(clear_noon: Store) -> None:
    doc = look(clear_noon, names=("blue",))
    assert doc.caution is not None and "67° high" in doc.caution and "Cover skin and eyes" in doc.caution
    assert "min beside the frame" in doc.caution and "index" not in doc.caution.lower()
    winter = look(clear_noon, names=("brown",), date="2016-12-21")
    assert winter.caution is not None and winter.caution != doc.caution


def test_of_a_long_queue_those_that_the_day_does_not_finish_are_not_all_named() -> None:
    noon = "2016-06-23T12:00:00.000Z"
    waiting = [WaitingDoc(f"print {k}", "blue", noon if k < 3 else None, None) for k in range(200)]
    told = queue_lines(QueueAheadDoc(waiting, 300.0, FitDoc(3)), known=False)
    assert "print 3" in "".join(told) and "print 4" not in "".join(told)
    assert "and 196 more, not that day either" in told[-2] and len(told) == 8
