"""Dose time joins boots and paces, and never goes back; wall time only labels."""

from __future__ import annotations

import pytest

from uvdose import clock, stamps
from uvdose.clock import Epoch, HostClock, next_epoch

S = 1_000_000


class Host:
    """The host's clocks, moved by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.boot, self.up_us, self.wall_us = "a", 1000 * S, 10**15
        monkeypatch.setattr(clock, "host_boot_id", lambda: self.boot)
        monkeypatch.setattr(clock, "host_boot_us", lambda: self.up_us)
        monkeypatch.setattr(clock, "host_wall_us", lambda: self.wall_us)

    def pass_s(self, seconds: float) -> None:
        self.up_us += int(seconds * S)
        self.wall_us += int(seconds * S)


@pytest.fixture
def host(monkeypatch: pytest.MonkeyPatch) -> Host:
    return Host(monkeypatch)


def test_a_restart_goes_on_and_time_not_running_counts(host: Host) -> None:
    first = HostClock(next_epoch(None, 0, 0, 1))
    host.pass_s(100)
    assert first.dose_us() == 100 * S
    host.pass_s(50)
    again = HostClock(next_epoch(first.epoch, 100 * S, host.wall_us, 1))
    assert again.dose_us() == 150 * S


@pytest.mark.parametrize("jump_s", [-86_400, -3600, 3600, 86_400])
def test_a_wall_jump_changes_no_dose_time(host: Host, jump_s: int) -> None:
    running = HostClock(next_epoch(None, 0, 0, 1))
    host.pass_s(10)
    host.wall_us += jump_s * S
    assert running.dose_us() == 10 * S
    assert HostClock(next_epoch(running.epoch, 10 * S, 0, 1)).dose_us() == 10 * S


@pytest.mark.parametrize(
    ("wall_s", "away_s"), [(600, 600), (-3600, 61), (5, 61), (365 * 86_400, 43_200)]
)
def test_a_reboot_goes_on_with_what_the_wall_says_within_reason(host: Host, wall_s: int, away_s: int) -> None:
    """A clock that is wrong at boot invents no year of light, and the stretch is always more than can be bridged."""
    before = HostClock(next_epoch(None, 0, 0, 1))
    host.pass_s(5000)
    last_wall_us = host.wall_us
    host.boot, host.up_us, host.wall_us = "b", 20 * S, last_wall_us + wall_s * S
    after = HostClock(next_epoch(before.epoch, 5000 * S, last_wall_us, 1))
    assert after.dose_us() == (5000 + away_s) * S


def test_without_a_boot_id_time_never_goes_back(host: Host) -> None:
    host.boot = "unknown"
    before = HostClock(next_epoch(None, 0, 0, 1))
    host.pass_s(50_000)
    host.up_us = 2000 * S  # a reboot, and up for longer than when the journal began
    after = HostClock(next_epoch(before.epoch, 50_000 * S, host.wall_us, 1))
    assert after.dose_us() >= 50_000 * S


def test_pace_keeps_its_labels_over_a_restart(host: Host) -> None:
    paced = HostClock(next_epoch(None, 0, 0, 60))
    host.pass_s(10)
    assert paced.dose_us() == 600 * S
    wall_us, dose_us = paced.wall_us(), paced.dose_us()
    again = HostClock(next_epoch(paced.epoch, dose_us, wall_us, 60))
    assert (again.dose_us(), again.wall_us()) == (dose_us, wall_us)
    slower = HostClock(next_epoch(paced.epoch, dose_us, wall_us, 1))
    assert slower.dose_us() == dose_us


def test_iso_times_go_there_and_back() -> None:
    assert stamps.iso_utc(1_465_000_000_123_456) == "2016-06-04T00:26:40.123Z"
    assert stamps.from_iso("2016-06-04T00:26:40.123Z") == 1_465_000_000_123_000


def test_a_time_of_day_is_the_newest_one_that_is_past() -> None:
    now_us = stamps.from_iso("2016-06-04T12:00:00+00:00")
    found = stamps.at_local(stamps.local_time(now_us - 60 * S), now_us)
    assert found == now_us - 60 * S
    later = stamps.at_local(stamps.local_time(now_us + 60 * S), now_us)
    assert 0 < now_us - later <= 86_400 * S
    for bad in ("25:00", "12", "noon", "12:61"):
        with pytest.raises(ValueError, match=r".*"):
            stamps.at_local(bad, now_us)


def test_an_epoch_is_what_the_journal_keeps() -> None:
    assert Epoch.__struct_fields__ == ("boot_id", "pace", "boot_anchor_us", "dose_anchor_us", "wall_anchor_us")
