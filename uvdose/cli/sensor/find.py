"""`uvdose sensor find`: which sensors are here, what they send, and the settings that read them."""

from __future__ import annotations

import contextlib
import math
import os
import shlex
import tomllib
from typing import TYPE_CHECKING, Annotated

import msgspec
import typer

from ...model import Refusal
from ..options import HomeDir, Json, broker_of, home_of

if TYPE_CHECKING:
    from ...config import Home, MqttSettings, Settings
    from .proposal import Place

LONGEST_S = 600.0
NOBODY = '\n[[sensor]]\nname = "nobody"\nlink = "simulated"\n'


def find(
    port: Annotated[
        list[str] | None, typer.Option("--port", metavar="PATH", help="Look at this port alone; repeat.")
    ] = None,
    broker: Annotated[
        str | None, typer.Option("--broker", metavar="HOST[:PORT]", help="Listen at this MQTT broker.")
    ] = None,
    seconds: Annotated[float, typer.Option(metavar="N", help="Listen so long at each place and speed.")] = 8.0,
    write: Annotated[bool, typer.Option("--write", help="Write what was found into uvdose.toml.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Look for sensors on the ports and at the broker, and propose their settings; ends with 4 when none is sure.

    Without --port and --broker it looks at all ports, and at the broker of the settings.
    """
    from ...settings_edit import append_sensor
    from ..show import note, say
    from .listening import at_broker, at_ports

    place = home_of(home)
    if not (math.isfinite(seconds) and 0 < seconds <= LONGEST_S):
        raise Refusal(f"--seconds {seconds:g}: give a number above 0 and up to {LONGEST_S:g}, such as 8", 2)
    named = broker_of(broker) if broker is not None else None
    settings = _settings_so_far(place)
    mqtt = named if named is not None else settings.mqtt if not port else None
    if named is not None and settings.mqtt is not None and _same(named, settings.mqtt):
        named, mqtt = None, settings.mqtt  # with its login
    taken = {s.name for s in settings.sensor}
    places = at_ports(port, settings, seconds, taken, _held(place, settings)) if port or broker is None else []
    if mqtt is not None:
        places += at_broker(mqtt, place.folder, settings, seconds, taken)
    _refuse_where_nothing_was_heard(places, port, broker)
    found = [p for p in places if p.settings is not None]
    if write and found:  # before anything is told: what cannot be written is told alone
        if named is not None and settings.mqtt is not None:
            other = "mqtt.host is another broker, and a bench has one; nothing was written"
            raise Refusal(f"{place.settings_file}: {other}")
        before = place.settings_file.exists()
        append_sensor(place, _text(found, mqtt if settings.mqtt is None else None))
    _tell(places, as_json)
    if not found:
        known = [p for p in places if p.verdict in ("known", "held")]
        if known and not write:
            return
        raise Refusal(
            "nothing new was found" if known else "nothing here is surely a UV sensor: plug it in, or name it with"
            " --port or --broker; a slow one may want --seconds"
        )
    if not write:
        given = [*(("--port", p) for p in port or ()), *([("--broker", broker)] if broker else [])]
        words = shlex.join(word for pair in given for word in pair)
        note(f"`{' '.join(f'uvdose sensor find {words} --write'.split())}` writes this into the settings")
    elif not as_json:
        kept = "; the file as it was is kept as uvdose.toml.old" if before else ""
        say(f"{place.settings_file}: {_named(found)} written{kept}")
        first = _named(found).partition(",")[0]
        say(f"next: start `uvdose serve` anew, cap the sensor, and `uvdose sensor zero {first}` in a second terminal")


def _settings_so_far(home: Home) -> Settings:
    """The settings of the home; that no sensor is in them yet, or that there are none, is no fault here."""
    from ...config import SETTINGS_NAME, Settings, load_settings, parse_settings

    if not home.settings_file.exists():
        return Settings()
    try:
        return load_settings(home)
    except Refusal:
        with contextlib.suppress(OSError, UnicodeDecodeError, Refusal, tomllib.TOMLDecodeError):
            text = home.settings_file.read_text(encoding="utf-8")
            if "sensor" not in tomllib.loads(text):
                full = parse_settings(text + NOBODY, SETTINGS_NAME)
                return msgspec.structs.replace(full, sensor=[])
        raise


def _text(found: list[Place], mqtt: MqttSettings | None) -> str:
    """The blocks as they come into the file; mqtt: the broker, where the settings have none yet."""
    from .proposal import block

    blocks = [block("sensor", p.settings, listed=True) for p in found if p.settings is not None]
    if mqtt is not None and any(p.link == "mqtt" for p in found):
        blocks.append(block("mqtt", {"host": mqtt.host, "port": mqtt.port}, listed=False))
    return "\n".join(blocks)


def _named(found: list[Place]) -> str:
    return ", ".join(str(p.settings["name"]) for p in found if p.settings is not None)


def _tell(places: list[Place], as_json: bool) -> None:
    from ..show import print_json, say
    from .proposal import told

    if as_json:
        print_json(places)
        return
    lines = [line for p in places for line in told(p)]
    say("\n".join(lines).rstrip() or "no port is here, and no broker is set")


def _refuse_where_nothing_was_heard(places: list[Place], port: list[str] | None, broker: str | None) -> None:
    """A place that was named, and none of which could be listened to, is a call that fails."""
    if (port or broker is not None) and places and all(p.verdict == "fault" for p in places):
        raise Refusal(places[0].line)


def _held(home: Home, settings: Settings) -> dict[str, str]:
    """The ports that the running daemon of this home has open, each with its sensor's name."""
    from ..asking import find_daemon

    if find_daemon(home) is None:
        return {}
    return {os.path.realpath(s.port): s.name for s in settings.sensor if s.link == "serial" and s.port}


def _same(one: MqttSettings, other: MqttSettings) -> bool:
    return (one.host, one.port) == (other.host, other.port)


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("find")(find)
