"""The settings file `uvdose.toml`, and the home that holds it. A fault is one `Refusal` with file, key and mend."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Any

import msgspec
import platformdirs

from .catalogue import part_named
from .model import Refusal
from .settings_bench import BenchSettings, check_bench
from .settings_words import INDEX_WORDS, SENSOR_NAME, plain_fault, says_index
from .units import IRRADIANCE_UNITS, plain_unit

SETTINGS_NAME = "uvdose.toml"
JOURNAL_NAME = "journal.sqlite3"

LINKS = ("serial", "mqtt", "recording", "simulated")
UNITS = ("counts", "V", "mW/cm2", "W/m2", "uW/cm2")
PROFILES = ("clear", "cloud", "dark")
# Beyond these no sensor is: a sum of such figures would be no number any more.
LEAST_SCALE, MOST_SCALE, MOST_VALUE = 1e-12, 1e12, 1e12
NETWORK_NAME = re.compile(r"^[A-Za-z0-9](?:[A-Za-z0-9-]{0,38}[A-Za-z0-9])?$")


class SensorSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[[sensor]]: one sensor, its link, its format and its response.

    scale: mW/cm² per unit, for counts and V; without it doses are in unit-seconds. zero, full_scale: in the unit.
    zero_u: standard uncertainty of zero, in the unit. repeat_u: how well the sensor repeats from print to print,
    relative, one standard deviation; the default is what 0.08 %/K makes of a few kelvin (photodiode data sheets).
    field: as `uvdose sensor formats` says. profile: of the simulated light. part: of the catalogue; it changes no
    figure.
    under_glass: it lies under the frame's own glass and a clear film, as the paper does.
    """

    name: str
    link: str
    port: str | None = None
    baud: int = 115200
    topic: str | None = None
    file: str | None = None
    profile: str = "cloud"
    format: str = "native"
    unit: str = "counts"
    scale: float | None = None
    zero: float = 0.0
    full_scale: float | None = None
    zero_u: float = 0.0
    repeat_u: float = 0.005
    field: str | None = None
    time_field: str | None = None
    seq_field: str | None = None
    decimal_comma: bool = False
    part: str | None = None
    mount: str | None = None
    under_glass: bool = False
    light: str = "sun"


class MqttSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[mqtt]: the broker. ca_file or tls switch on TLS; the password lies in a file of its own.

    commands: acts are taken from `uvdose/<bench>/command`, from whomever the broker lets publish there.
    """

    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password_file: str | None = None
    tls: bool = False
    ca_file: str | None = None
    commands: bool = False


class WebSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[web]: where the local API listens, on this machine alone; port 0 takes any free one.

    lan: phones reach it over the network as well, at lan_port. name: announced there, as `<name>.local`. hosts: other
    names by which it is reached. tls_cert, tls_key: files in PEM form; with them the network speaks https.
    """

    listen: str = "127.0.0.1:8463"
    lan: bool = False
    lan_port: int = 8465
    name: str | None = None
    hosts: list[str] = []
    tls_cert: str | None = None
    tls_key: str | None = None


class CallSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[call]: how calls reach the person, beside the node's buzzer and MQTT.

    terminal: with the bell; the lines come in any case. push_file: one address a line, readable by nobody else.
    """

    terminal: bool = True
    desktop: bool = False
    push_file: str | None = None


class Settings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The whole of uvdose.toml."""

    bench: BenchSettings = BenchSettings()
    sensor: list[SensorSettings] = []
    mqtt: MqttSettings | None = None
    web: WebSettings = WebSettings()
    call: CallSettings = CallSettings()


class Home(msgspec.Struct, frozen=True):
    """The folder that holds a bench's settings and journal."""

    folder: Path

    @property
    def settings_file(self) -> Path:
        return self.folder / SETTINGS_NAME

    @property
    def journal_file(self) -> Path:
        return self.folder / JOURNAL_NAME

    @property
    def pictures_folder(self) -> Path:
        return self.folder / "pictures"

    @property
    def lock_file(self) -> Path:
        return self.folder / "uvdose.lock"

    @property
    def runtime_file(self) -> Path:
        return self.folder / "runtime.json"

    @property
    def phones_file(self) -> Path:
        return self.folder / "phones.json"


def find_home(given: str | None) -> Home:
    """The home folder: as given, else UVDOSE_HOME, else the platform's folder for data. Raises `Refusal` (code 2)."""
    chosen = given or os.environ.get("UVDOSE_HOME") or platformdirs.user_data_dir("uvdose")
    try:
        return Home(Path(chosen).expanduser().absolute())
    except RuntimeError:
        raise Refusal(f"home {chosen}: there is no such user; give a folder with --home", 2) from None


def load_settings(home: Home) -> Settings:
    """Read and check the settings of a home. Raises `Refusal`."""
    path = home.settings_file
    if path.exists() and not path.is_file():
        raise Refusal(f"{path}: it is no ordinary file; write the settings into one")
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise Refusal(
            f"no settings at {path}: `uvdose sensor find --write` makes them of a sensor that is plugged in; or write"
            " this file as the README shows, or run `uvdose demo` to see it work"
        ) from None
    except (OSError, UnicodeDecodeError) as err:
        raise Refusal(f"{path}: cannot be read ({err}); it must be a readable UTF-8 text file") from None
    return parse_settings(text, str(path))


def parse_settings(text: str, where: str) -> Settings:
    """Settings from the text of the file; `where` names it in messages. Raises `Refusal`."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise Refusal(f"{where}: not valid TOML: {err}") from None
    try:
        settings = msgspec.convert(raw, Settings, strict=True)
    except msgspec.ValidationError as err:
        raise Refusal(f"{where}: {plain_fault(str(err), raw)}") from None
    sensors = [msgspec.structs.replace(s, unit=plain_unit(s.unit)) for s in settings.sensor]
    settings = msgspec.structs.replace(settings, sensor=sensors)
    _check(settings, where)
    return settings


def _check(settings: Settings, where: str) -> None:
    def refuse(key: str, line: str) -> None:
        raise Refusal(f"{where}: {key}: {line}")

    # Asked for only here: what reads settings and no lines of sensors need not load them.
    from .decode.formats import NAMES

    check_bench(settings.bench, refuse)
    if not settings.sensor:
        refuse("sensor", "no sensor is set up; add a [[sensor]] block as the README shows")
    _check_web(settings.web, where, refuse)
    seen: set[str] = set()
    for number, sensor in enumerate(settings.sensor):
        key = f"sensor[{number}]"
        if not SENSOR_NAME.match(sensor.name):
            refuse(f"{key}.name", f"{sensor.name!r} is not a name; use letters, digits, . _ - (at most 40)")
        key = f"sensor {sensor.name}"
        if sensor.name in seen:
            refuse(key, "this name is there twice; each sensor needs a name of its own")
        seen.add(sensor.name)
        for name, value, allowed in (("link", sensor.link, LINKS), ("format", sensor.format, NAMES),
                                     ("unit", sensor.unit, UNITS), ("profile", sensor.profile, PROFILES)):
            if value not in allowed:
                refuse(f"{key}.{name}", f"{value!r} is not known; one of {', '.join(allowed)}")
        _check_link(sensor, key, settings, refuse)
        check_response(sensor, key, refuse)
    if settings.call.push_file is not None and (not settings.call.push_file or "\0" in settings.call.push_file):
        refuse("call.push_file", "is no file; name the one that holds the addresses, or leave it out")
    if settings.mqtt is not None:
        if not 1 <= settings.mqtt.port <= 65535:
            refuse("mqtt.port", f"{settings.mqtt.port} is not a port; 1 to 65535, usually 1883 (8883 with TLS)")
        if settings.mqtt.username is not None and settings.mqtt.password_file is None:
            refuse("mqtt.password_file", "is missing; name a file that holds the password of mqtt.username")


def _check_web(web: WebSettings, where: str, refuse: Any) -> None:
    host, _ = split_listen(web.listen, where)
    if not (host in ("localhost", "::1") or re.fullmatch(r"127(\.\d{1,3}){3}", host)):
        refuse("web.listen", f"{host} is not this machine alone; write 127.0.0.1, and lan = true for phones")
    if not 0 <= web.lan_port <= 65535:
        refuse("web.lan_port", f"{web.lan_port} is not a port; 1 to 65535, or 0 for any free one")
    if web.name is not None and not NETWORK_NAME.match(web.name):
        refuse("web.name", f"{web.name!r} is not a name in a network; letters, digits and - (at most 40)")
    for host in web.hosts:
        if not all(NETWORK_NAME.match(label) for label in host.split(".")):
            refuse("web.hosts", f"{host!r} is not a host's name; write it without http:// and port")
    if (web.tls_cert is None) != (web.tls_key is None):
        refuse("web.tls_cert", "goes together with web.tls_key; name both files")


def _check_link(sensor: SensorSettings, key: str, settings: Settings, refuse: Any) -> None:
    if sensor.link == "serial" and not sensor.port:
        refuse(f"{key}.port", 'is missing; the device\'s path, such as "/dev/serial/by-id/..."')
    if sensor.link == "recording" and not sensor.file:
        refuse(f"{key}.file", "is missing; the path of the recording")
    if sensor.link == "mqtt":
        if not sensor.topic:
            refuse(f"{key}.topic", "is missing; the topic that the sensor publishes on")
        if settings.mqtt is None:
            refuse("mqtt", f"is missing; sensor {sensor.name!r} needs an [mqtt] block with host and port")
        if sensor.topic and (set(sensor.topic) & set("#+") or "\0" in sensor.topic):
            refuse(f"{key}.topic", "must be one topic, without # or +")
    if sensor.link == "simulated" and sensor.format != "native":
        refuse(f"{key}.format", 'a simulated sensor speaks "native"')
    if sensor.baud <= 0:
        refuse(f"{key}.baud", f"{sensor.baud} is not a speed; usually 115200 or 9600")
    if sensor.format == "json" and not (sensor.field or "").startswith("/"):
        refuse(f"{key}.field", 'must be a JSON Pointer that finds the value, such as "/uv" or "/sensor/uva"')
    if sensor.part is not None:
        try:
            part_named(sensor.part)
        except Refusal as why:
            refuse(f"{key}.part", why.line)
    from .decode.formats import WITH_TIMES

    for name, value in (("time_field", sensor.time_field), ("seq_field", sensor.seq_field)):
        if value is not None and sensor.format not in WITH_TIMES:
            goes = " or ".join(f'"{one}"' for one in WITH_TIMES)
            refuse(f"{key}.{name}", f"goes with format {goes}, not {sensor.format!r}")
        if value is not None and sensor.format == "json" and not value.startswith("/"):
            refuse(f"{key}.{name}", 'must be a JSON Pointer, such as "/time"')


def check_response(sensor: SensorSettings, key: str, refuse: Any) -> None:
    """Whether unit, scale, zero and full scale can be meant; `refuse(key, line)` is called where they cannot."""
    if (sensor.scale is not None or sensor.unit in IRRADIANCE_UNITS) and (
        says_index(sensor.field or "") or says_index(sensor.topic or "")
    ):
        refuse(f"{key}.unit", INDEX_WORDS)
    if sensor.scale is not None:
        if sensor.unit in IRRADIANCE_UNITS:
            refuse(f"{key}.scale", f"unit {sensor.unit} is irradiance already; leave scale out")
        if not LEAST_SCALE <= sensor.scale <= MOST_SCALE:
            refuse(f"{key}.scale", f"{sensor.scale} is not a scale; mW/cm² per {sensor.unit}, above 0")
    if not abs(sensor.zero) <= MOST_VALUE:
        refuse(f"{key}.zero", f"{sensor.zero} is not a dark reading; a number in {sensor.unit}")
    if not 0 <= sensor.zero_u <= MOST_VALUE:
        refuse(f"{key}.zero_u", f"{sensor.zero_u} is not an uncertainty; a number in {sensor.unit}, 0 or above")
    if not 0 <= sensor.repeat_u <= 0.5:
        refuse(f"{key}.repeat_u", f"{sensor.repeat_u} is not a relative uncertainty; 0 to 0.5, such as 0.005")
    full = sensor.full_scale
    if full is not None and not sensor.zero < full <= MOST_VALUE:
        refuse(f"{key}.full_scale", f"{full} must lie above zero = {sensor.zero}, and below {MOST_VALUE:g}")


def split_listen(listen: str, where: str = SETTINGS_NAME) -> tuple[str, int]:
    """Host and port of `web.listen`. Raises `Refusal`."""
    host, colon, port = listen.rpartition(":")
    if not colon or not host or not port.isdigit() or int(port) > 65535:
        raise Refusal(f'{where}: web.listen: {listen!r} is not host:port, such as "127.0.0.1:8463"')
    return host.strip("[]"), int(port)
