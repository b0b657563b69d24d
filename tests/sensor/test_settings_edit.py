"""Changing the settings file: what a person wrote stays, and no change leaves a file behind that nothing starts with.

That the file is TOML and says what was meant is judged by the standard library's `tomllib`, which writes nothing.
"""

from __future__ import annotations

import multiprocessing
import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from uvdose.config import Home, load_settings
from uvdose.home import lock
from uvdose.model import Refusal
from uvdose.settings_edit import append_sensor, edit_sensor

WRITTEN = """\
# our bench
[bench]
name = "bindery"   # as it is called at the fair

[[sensor]]
name = "sill"
link = "simulated"
zero = 0.0         # what it says in the dark
full_scale = 1023

# the one on the roof
[[sensor]]
name = "roof"
link = "serial"
port = "/dev/ttyUSB7"
format = "number"

# calls
[call]
desktop = true
"""
FOUND = '[[sensor]]\nname = "porch"\nlink = "serial"   # found\nport = "/dev/ttyUSB0"\nformat = "number"\n'


def _home(folder: Path, text: str = WRITTEN) -> Home:
    home = Home(folder)
    folder.mkdir(parents=True, exist_ok=True)
    home.settings_file.write_bytes(text.encode())
    return home


def _without(text: str, *lines: str) -> list[str]:
    return [line for line in text.splitlines() if not line.startswith(lines)]


def test_only_the_named_keys_change(tmp_path: Path) -> None:
    home = _home(tmp_path)
    settings = edit_sensor(home, "sill", {"zero": 1.25, "zero_u": 0.031})
    now = home.settings_file.read_text()
    assert "zero = 1.25         # what it says in the dark\nfull_scale = 1023\nzero_u = 0.031\n\n# the one on" in now
    assert _without(now, "zero") == _without(WRITTEN, "zero")
    assert (tmp_path / "uvdose.toml.old").read_text() == WRITTEN
    assert settings == load_settings(home)
    assert [(s.zero, s.zero_u) for s in settings.sensor] == [(1.25, 0.031), (0.0, 0.0)]
    edit_sensor(home, "sill", {"zero_u": None})
    assert "zero_u" not in home.settings_file.read_text()


@pytest.mark.parametrize("text", [
    WRITTEN.replace("\n", "\r\n"),
    WRITTEN.rstrip("\n"),
    'sensor = [{name = "sill", link = "simulated"}, {name = "roof", link = "simulated"}]\n[bench]\nname = "b"\n',
    WRITTEN + '\n[[sensor]]\nname = "late"\nlink = "simulated"\n',
    WRITTEN.replace("zero = 0.0 ", "'zero' = +0e3 "),
])
def test_however_it_is_written(tmp_path: Path, text: str) -> None:
    home = _home(tmp_path, text)
    edit_sensor(home, "roof", {"zero": -0.5, "mount": 'a "north" wall\\'})
    edit_sensor(home, "sill", {"zero": 3.0})
    wanted = tomllib.loads(text)
    wanted["sensor"][1] |= {"zero": -0.5, "mount": 'a "north" wall\\'}
    wanted["sensor"][0]["zero"] = 3.0
    now = home.settings_file.read_bytes()
    assert tomllib.loads(now.decode()) == wanted
    assert (b"\r\n" in now) == ("\r\n" in text)
    assert now.replace(b"\r\n", b"").count(b"\r") == 0
    if "\r\n" in text:
        assert now.count(b"\n") == now.count(b"\r\n")


@given(st.lists(st.tuples(st.sampled_from(["sill", "roof"]), st.sampled_from(["zero", "zero_u", "scale"]),
                          st.floats(1e-9, 1e9)), max_size=6))
def test_many_changes_in_a_row(tmp_path_factory: pytest.TempPathFactory, changes: list[tuple[str, str, float]]) -> None:
    home = _home(tmp_path_factory.mktemp("home"), WRITTEN.replace("full_scale = 1023\n", ""))
    wanted = tomllib.loads(home.settings_file.read_text())
    for name, key, value in changes:
        edit_sensor(home, name, {key: value})
        next(s for s in wanted["sensor"] if s["name"] == name)[key] = value
    assert tomllib.loads(home.settings_file.read_text()) == wanted
    comments = ("# our bench", "# as it is called at the fair", "# what it says in the dark", "# the one on the roof")
    for comment in comments:
        assert comment in home.settings_file.read_text()


def test_a_change_that_no_daemon_starts_with_is_refused(tmp_path: Path) -> None:
    home = _home(tmp_path)
    wrong = {"full_scale": {"zero": 2000.0}, "zero": {"zero": float("nan")}, "sclae": {"sclae": 1.0}}
    for word, changes in wrong.items():
        with pytest.raises(Refusal, match=word):
            edit_sensor(home, "sill", changes)
    with pytest.raises(Refusal, match="sill, roof") as err:
        edit_sensor(home, "cellar", {"zero": 1.0})
    assert err.value.code == 2
    assert home.settings_file.read_text() == WRITTEN
    assert os.listdir(tmp_path) == ["uvdose.toml"]


def test_a_sensor_comes_after_the_last_one(tmp_path: Path) -> None:
    home = _home(tmp_path)
    settings = append_sensor(home, FOUND)
    assert home.settings_file.read_text() == WRITTEN.replace("# calls\n", FOUND + "\n# calls\n")
    assert [s.name for s in settings.sensor] == ["sill", "roof", "porch"]
    with pytest.raises(Refusal, match="twice"):
        append_sensor(home, FOUND)
    with pytest.raises(Refusal, match=r"\[call\] is there already"):
        append_sensor(home, FOUND.replace("porch", "other") + "[call]\ndesktop = false\n")
    edit_sensor(home, "porch", {"zero": 0.5})
    assert 'format = "number"\nzero = 0.5\n\n# calls\n' in home.settings_file.read_text()


def test_a_sensor_for_a_home_without_settings_and_with_a_broker(tmp_path: Path) -> None:
    home = Home(tmp_path / "new")
    append_sensor(home, FOUND)
    assert home.settings_file.read_text() == FOUND
    assert not (home.folder / "uvdose.toml.old").exists()
    over_mqtt = '[[sensor]]\nname = "m"\nlink = "mqtt"\ntopic = "a/b"\nformat = "number"\n'
    over_mqtt += '\n[mqtt]\nhost = "127.0.0.1"\n'
    settings = append_sensor(home, over_mqtt)
    assert settings.mqtt is not None and settings.mqtt.host == "127.0.0.1"
    inline = _home(tmp_path / "inline", 'sensor = [{name = "a", link = "simulated"}]\n')
    with pytest.raises(Refusal, match="by hand"):
        append_sensor(inline, FOUND)


def test_a_file_that_is_a_link_stays_one_and_a_read_only_one_as_it_is(tmp_path: Path) -> None:
    kept = _home(tmp_path / "kept")
    home = Home(tmp_path / "home")
    home.folder.mkdir()
    home.settings_file.symlink_to("../kept/uvdose.toml")
    kept.settings_file.chmod(0o640)
    edit_sensor(home, "sill", {"zero": 1.0})
    assert home.settings_file.is_symlink()
    assert load_settings(kept).sensor[0].zero == 1.0
    assert kept.settings_file.stat().st_mode & 0o777 == 0o640
    assert (home.folder / "uvdose.toml.old").read_text() == WRITTEN
    kept.settings_file.chmod(0o440)
    with pytest.raises(Refusal, match=r"read-only.*zero = 2\.0 for sensor sill") as err:
        edit_sensor(home, "sill", {"zero": 2.0})
    assert err.value.code == 4
    assert load_settings(kept).sensor[0].zero == 1.0


def _zeros(folder: Path, name: str, count: int) -> None:
    for number in range(1, count + 1):
        edit_sensor(Home(folder), name, {"zero": float(number)})


def test_commands_at_once_lose_nothing_of_each_other(tmp_path: Path) -> None:
    """Two zeros are taken at two terminals: each read the file, and whoever came last wrote the other one's away."""
    names = ("a", "b", "c")
    home = _home(tmp_path, "".join(f'[[sensor]]\nname = "{name}"\nlink = "simulated"\n' for name in names))
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=_zeros, args=(tmp_path, name, 20)) for name in names]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    assert [writer.exitcode for writer in writers] == [0, 0, 0]
    assert [sensor.zero for sensor in load_settings(home).sensor] == [20.0] * 3


def test_a_running_daemon_keeps_no_command_waiting(tmp_path: Path) -> None:
    """The daemon has its home's lock for as long as it runs: what changes the settings must not wait for that."""
    home = _home(tmp_path)
    with lock(home, "uvdose serve"):
        other = multiprocessing.get_context("spawn").Process(target=edit_sensor, args=(home, "sill", {"zero": 2.5}))
        other.start()
        other.join(30)
        waits = other.is_alive()
        other.kill()
        other.join()
    assert not waits and other.exitcode == 0
    assert load_settings(home).sensor[0].zero == 2.5
