"""`uvdose sensor find` on streams of many shapes (invented, `tests/streams/`), over real ptys and a real broker."""

from __future__ import annotations

import grp
import json
import os
import tempfile
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.broker import Broker
from support.chatter import Boards, Stream, Topics, streams
from support.ptynode import PtyNode

from uvdose.cli.sensor.listening import at_ports
from uvdose.config import SensorSettings, Settings, parse_settings
from uvdose.decode import make_decoder
from uvdose.model import MomentReading, RegisterReading

from .conftest import Daemon, Homed

SERIAL, MQTT = streams("serial"), streams("mqtt")
SETTING_KEYS = ("baud", "format", "field", "decimal_comma", "unit", "part")


@pytest.fixture
def home(tmp_path: Path) -> Homed:
    return Homed(tmp_path / "home")


def test_there_are_enough_shapes() -> None:
    everything = [*SERIAL, *MQTT]
    assert sum(s.expect["verdict"] == "found" for s in everything) >= 20
    assert sum(s.expect["verdict"] == "unsure" for s in everything) >= 8


def judge(stream: Stream, place: dict[str, Any], sensor: SensorSettings | None) -> None:
    """What was found against what must be, and whether the settings that were written read the stream."""
    expect = stream.expect
    assert place["verdict"] == expect["verdict"], place
    if "why" in expect:
        assert expect["why"] in place["line"], place
    if "minds" in expect:
        assert any(expect["minds"] in note for note in place["notes"]), place
    if expect["verdict"] != "found":
        assert place["settings"] is None and sensor is None
        return
    settings = place["settings"]
    assert {k: settings[k] for k in SETTING_KEYS if k in settings and k in expect} == {
        k: expect[k] for k in SETTING_KEYS if k in expect
    }, place
    assert ("decimal_comma" in settings) == ("decimal_comma" in expect)
    assert sensor is not None
    live = make_decoder(sensor, from_start=True)
    lines = [item for line in stream.lines for item in live.message(line)]
    light = [i.value for i in lines if isinstance(i, MomentReading)]
    light += [i.level_milli / 1000 for i in lines if isinstance(i, RegisterReading)]
    assert light and (expect.get("value") is None or light[-1] == expect["value"])


@pytest.fixture(scope="module")
def on_ptys(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[dict[str, Any], dict[str, SensorSettings]]]:
    """All serial streams at once: what is told of each, and the settings that were written."""
    folder = tmp_path_factory.mktemp("ports")
    home = Homed(folder / "home")
    with Boards(folder, SERIAL):
        ports = [word for s in SERIAL for word in ("--port", folder / s.name)]
        ran = home.call("sensor", "find", *ports, "--seconds", 2.5, "--write", "--json")
    assert ran.code == 0, ran
    written = parse_settings((home.folder / "uvdose.toml").read_text(), "written")
    yield (
        {Path(p["where"]).name: p for p in json.loads(ran.out)},
        {Path(s.port).name: s for s in written.sensor if s.port is not None},
    )


@pytest.mark.parametrize("stream", SERIAL, ids=lambda s: s.name)
def test_on_a_port(stream: Stream, on_ptys: tuple[dict[str, Any], dict[str, SensorSettings]]) -> None:
    places, sensors = on_ptys
    judge(stream, places[stream.name], sensors.get(stream.name))


@pytest.fixture(scope="module")
def at_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[dict[str, Any], dict[str, SensorSettings]]]:
    """All streams of topics at once."""
    home = Homed(tmp_path_factory.mktemp("mqtt") / "home")
    with Broker() as broker, Topics(broker.port, MQTT) as topics:
        topics.client.publish("attic/uv", "9.9", retain=True).wait_for_publish(5)
        ran = home.call("sensor", "find", "--broker", f"127.0.0.1:{broker.port}", "--seconds", 1.5, "--write", "--json")
        assert ran.code == 0, ran
    written = parse_settings((home.folder / "uvdose.toml").read_text(), "written")
    assert written.mqtt is not None and written.mqtt.port == broker.port
    yield {p["where"]: p for p in json.loads(ran.out)}, {s.topic: s for s in written.sensor if s.topic is not None}


@pytest.mark.parametrize("stream", MQTT, ids=lambda s: s.name)
def test_at_a_broker(stream: Stream, at_broker: tuple[dict[str, Any], dict[str, SensorSettings]]) -> None:
    places, sensors = at_broker
    topic = stream.expect.get("topic", stream.topic)
    if stream.expect["verdict"] == "not told":
        assert topic not in places and topic not in sensors
        assert any(topic in p["line"] for p in places.values()), "but it is named among what is no UV"
        return
    judge(stream, places[topic], sensors.get(topic))
    assert "attic/uv" not in sensors, "a retained message is an old one"


def test_auto_reads_such_a_board_in_the_daemon_and_says_what_it_chose(tmp_path: Path) -> None:
    stream = next(s for s in SERIAL if s.name == "plotter_comma")
    settings = f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{tmp_path / stream.name}"\nformat = "auto"\n'
    with Boards(tmp_path, [stream]):
        daemon = Daemon(tmp_path / "home", settings + '[web]\nlisten = "127.0.0.1:0"\n', pace=1)
        try:
            end = time.monotonic() + 15
            while (sensor := daemon.told("status")["sensors"][0])["irradiance"] is None and time.monotonic() < end:
                time.sleep(0.1)
            told = [json.loads(line) for line in daemon.run("events", "--json").out.splitlines()]
        finally:
            daemon.stop()
    assert sensor["irradiance"] in (0.97, 0.98) and sensor["unit"] == "counts", sensor
    assert sensor["alarm_keys"] == ["chosen"], sensor
    lines = [event.get("line", "") for event in told if event["event"] == "alarm"]
    assert any("auto reads 'uv', one of 2 numbers" in line for line in lines), told


def test_a_topic_of_odd_letters_is_written_as_it_is_and_a_broker_without_a_word_is_one_line(home: Homed) -> None:
    odd = Stream("odd", "mqtt", 'hall "uv" \\ é/uv', [b"3.5"], b"", {}, None)
    with Broker() as broker, Topics(broker.port, [odd]):
        at = f"127.0.0.1:{broker.port}"
        assert home.call("sensor", "find", "--broker", at, "--seconds", 0.5, "--write").code == 0
    (sensor,) = parse_settings((home.folder / "uvdose.toml").read_text(encoding="utf-8"), "").sensor
    assert sensor.topic == odd.topic and sensor.format == "number"
    other = Homed(home.folder.parent / "other")
    with Broker(tls=True) as broker:
        words = ("closed the connection without an answer", "mqtt.tls = true")
        other.call("sensor", "find", "--broker", f"127.0.0.1:{broker.port}", "--seconds", 0.1).refused(4, *words)
    with Broker(users={"ann": "secret"}) as broker:
        words = ("refused the login", "mqtt.username")
        other.call("sensor", "find", "--broker", f"127.0.0.1:{broker.port}", "--seconds", 0.1).refused(4, *words)


def test_what_comes_without_lines_is_told_as_that(home: Homed, tmp_path: Path) -> None:
    endless = Stream("endless", "serial", "", [b"1" * 200], b"", {}, None)
    with Boards(tmp_path, [endless]):
        ran = home.call("sensor", "find", "--port", tmp_path / "endless", "--seconds", 0.3)
    assert ran.code == 4 and "no line in " in ran.out and "nothing here is surely a UV sensor" in ran.err


def test_a_node_says_who_it_is(home: Homed, tmp_path: Path) -> None:
    with PtyNode(tmp_path / "node", [40.0], rate_hz=10, full_scale=1023, zero=3.0):
        seen = home.run("sensor", "find", "--port", tmp_path / "node")
        ran = home.run("sensor", "find", "--port", tmp_path / "node", "--write")
    assert f"`uvdose sensor find --port {tmp_path}/node --write" in seen.err, "as it was called"
    assert ran.code == 0 and "the node calls itself " in ran.out, ran
    assert "is kept as" not in ran.out, "there was no file before"
    sensor = parse_settings((home.folder / "uvdose.toml").read_text(), "written").sensor[0]
    assert (sensor.format, sensor.full_scale, sensor.zero) == ("native", 1023, 3.0)
    assert f"calls itself {sensor.name}: " in ran.out and f"`uvdose sensor zero {sensor.name}" in ran.out


COMMENTED = """\
# The bindery's own settings.
[bench]
name = "bindery"   # not "bench"

[[sensor]]         # by the window
name = "sill"
link = "simulated"
profile = "clear"

[web]
listen = "127.0.0.1:0"  # any
"""


def _label(folder: Path) -> Boards:
    return Boards(folder, [s for s in SERIAL if s.name == "label_uv"])


def test_writing_keeps_comments_mode_and_the_old_file(home: Homed, tmp_path: Path) -> None:
    home.write(COMMENTED)
    file = home.folder / "uvdose.toml"
    file.chmod(0o640)
    with _label(tmp_path):
        ran = home.call("sensor", "find", "--port", tmp_path / "label_uv", "--write")
        assert ran.code == 0, ran
        again = home.call("sensor", "find", "--port", tmp_path / "label_uv", "--write")
    text = file.read_text()
    assert all(line in text for line in COMMENTED.splitlines()) and file.stat().st_mode & 0o777 == 0o640
    assert [s.name for s in parse_settings(text, "").sensor] == ["sill", "uv"]
    old = home.folder / "uvdose.toml.old"
    assert text.startswith(COMMENTED[: COMMENTED.index("[web]")]) and text.endswith('listen = "127.0.0.1:0"  # any\n')
    assert old.read_text() == COMMENTED and old.stat().st_mode & 0o777 == 0o640
    assert again.code == 4 and "nothing new was found" in again.err and file.read_text() == text
    assert sorted(p.name for p in home.folder.iterdir()) == ["uvdose.toml", "uvdose.toml.old"]


def test_a_file_without_a_sensor_yet_and_line_ends_of_another_system(home: Homed, tmp_path: Path) -> None:
    home.write('[bench]\r\nname = "porch"\r\n')
    with _label(tmp_path):
        assert home.call("sensor", "find", "--port", tmp_path / "label_uv", "--write").code == 0
    raw = (home.folder / "uvdose.toml").read_bytes()
    assert raw.count(b"\n") == raw.count(b"\r\n") > 5
    assert parse_settings(raw.decode(), "").bench.name == "porch"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[bench]\nname = "x"\n[[sensor]]\nname = "a"\nlink = "telegraph"\n', ("telegraph", "is not known")),
        ("[bench\n", ("not valid TOML",)),
        ('sensor = [{name = "a", link = "simulated"}]\n', ("no place for a [[sensor]] block",)),
    ],
)
def test_what_cannot_be_written_into_stays_as_it_is(
    home: Homed, tmp_path: Path, text: str, words: tuple[str, ...]
) -> None:
    home.write(text)
    with _label(tmp_path):
        home.call("sensor", "find", "--port", tmp_path / "label_uv", "--write").refused(4, "uvdose.toml", *words)
    assert (home.folder / "uvdose.toml").read_text() == text
    assert [p.name for p in home.folder.iterdir()] == ["uvdose.toml"]


def test_a_settings_file_that_is_a_link_stays_one(home: Homed, tmp_path: Path) -> None:
    real = tmp_path / "kept" / "real.toml"
    real.parent.mkdir()
    real.write_text(COMMENTED)
    home.folder.mkdir()
    (home.folder / "uvdose.toml").symlink_to(real)
    with _label(tmp_path):
        assert home.call("sensor", "find", "--port", tmp_path / "label_uv", "--write").code == 0
    assert (home.folder / "uvdose.toml").is_symlink()
    assert len(tomllib.loads(real.read_text())["sensor"]) == 2


def test_a_port_that_the_daemon_holds_is_not_opened(tmp_path: Path) -> None:
    with PtyNode(tmp_path / "node", [40.0], rate_hz=10) as node:
        settings = f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{tmp_path / "node"}"\n'
        settings += '[web]\nlisten = "127.0.0.1:0"\n'
        daemon = Daemon(tmp_path / "home", settings, pace=1)
        try:
            ran = daemon.run("sensor", "find", "--port", tmp_path / "node")
            assert ran.code == 0 and "the running daemon has it, as sensor sill" in ran.out, ran
            # Another home cannot know, and is told that somebody has it.
            other = Homed(tmp_path / "other").run("sensor", "find", "--port", tmp_path / "node")
            other.refused(4, "another program has", "node")
            asked = [line for line in node.heard if line.startswith(b"who")]
        finally:
            daemon.stop()
    assert len(asked) == 1, "by the daemon itself, once"


def test_bad_input_is_one_line(home: Homed, tmp_path: Path) -> None:
    find = ("sensor", "find")
    for seconds in ("0", "-1", "nan", "inf", "1e9"):
        home.call(*find, "--seconds", seconds).refused(2, "--seconds")
    home.call(*find, "--seconds", "soon").refused(2)
    for broker in ("", ":", "a b", "host:port", "host:0", "host:65536", "host:99999999999999999999", "host:²"):
        home.call(*find, "--broker", broker).refused(2, "--broker")
    home.call(*find, "--port", tmp_path / "none").refused(4, "there is no port", "plug the sensor in")
    home.call(*find, "--port", "").refused(4)
    home.call(*find, "--port", "socket://nowhere").refused(4, "names no host and port")
    home.call(*find, "--port", tmp_path).refused(4, "is not a serial port")
    home.call(*find, "--broker", "127.0.0.1:1", "--seconds", 0.1).refused(4, "nothing answers at 127.0.0.1:1")
    home.call(*find, "--broker", "no-such-host.invalid", "--seconds", 0.1).refused(4, "there is no host")
    assert not home.folder.exists()


def test_without_permission_it_says_which_group_to_join() -> None:
    """Through a real open, as a user who is nobody where the tests run as root, who may open everything."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "port"
        path.touch(mode=0)
        mine = os.geteuid()
        if mine == 0:
            Path(folder).chmod(0o755)
            os.chown(path, 0, grp.getgrnam("dialout").gr_gid)
            os.seteuid(65534)
        try:
            (place,) = at_ports([str(path)], Settings(), 0.1, set(), {})
        finally:
            os.seteuid(mine)
        group = grp.getgrgid(path.stat().st_gid).gr_name
    assert place.verdict == "fault" and "no permission to open" in place.line
    assert f"usermod -aG {group} " in place.line
