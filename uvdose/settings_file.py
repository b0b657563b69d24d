"""Writing into `uvdose.toml`: what is there stays as it is, comments and all, and a file that was valid stays valid."""

from __future__ import annotations

import contextlib
import os
import stat
import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from .config import Home, MqttSettings, Settings, parse_settings
from .model import Refusal

MOST_KEPT = 99
_NOBODY = '\n[[sensor]]\nname = "nobody"\nlink = "simulated"\n'


def read_text(home: Home) -> str | None:
    """The settings file's text; None where there is none. Raises `Refusal`."""
    path = home.settings_file
    if path.exists() and not path.is_file():
        raise Refusal(f"{path}: it is no ordinary file; write the settings into one")
    try:
        return path.read_bytes().decode("utf-8")  # line ends stay as they are
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as err:
        raise Refusal(f"{path}: cannot be read ({err}); it must be a readable UTF-8 text file") from None


def settings_of(text: str | None, where: str) -> Settings:
    """The settings of a text that may not name a sensor yet, which is no fault here. Raises `Refusal`."""
    if text is None:
        return Settings()
    try:
        bare = "sensor" not in tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        bare = False  # told below, with its place
    settings = parse_settings(text + _NOBODY if bare else text, where)
    return Settings(settings.bench, [], settings.mqtt, settings.web, settings.call) if bare else settings


def with_sensors(text: str | None, sensors: list[dict[str, Any]], mqtt: MqttSettings | None, where: str) -> str:
    """A text with these [[sensor]] blocks behind those that are there, and [mqtt] where it has none and one is needed.

    Raises `Refusal` where the result would be no valid settings.
    """
    try:
        document = tomlkit.parse(text) if text is not None else _first()
        if mqtt is not None and "mqtt" not in document:
            table = tomlkit.table()
            table.update({"host": mqtt.host, "port": mqtt.port})
            document.append("mqtt", table)
        made = document.as_string()
        if sensors:
            if "sensor" in document and not isinstance(document["sensor"], AoT):
                raise Refusal(f"{where}: sensor: write each one as a [[sensor]] block; then more can be written there")
            # At the end of the file they are valid wherever the others stand, and move nothing of what a person wrote.
            end = "\r\n" if "\r\n" in made else "\n"
            made = made.rstrip("\r\n") + 2 * end + end.join(block(s).replace("\n", end) for s in sensors)
    except TOMLKitError as err:
        raise Refusal(f"{where}: not valid TOML: {err}") from None
    parse_settings(made, where)
    return made


def block(sensor: dict[str, Any]) -> str:
    """One [[sensor]] block as it stands in the file."""
    tables = tomlkit.aot()
    table = tomlkit.table()
    table.update(sensor)
    tables.append(table)
    document = tomlkit.document()
    document.append("sensor", tables)
    return document.as_string()


def _first() -> tomlkit.TOMLDocument:
    document = tomlkit.document()
    bench = tomlkit.table()
    bench.update({"name": "bench"})
    document.append("bench", bench)
    return document


def replace(home: Home, text: str) -> Path | None:
    """Put a new text in the place of the settings file, whole or not at all; returns where the old one is kept.

    The new file has the old one's mode. The text must have been proved. Raises `Refusal`.
    """
    path = home.settings_file.resolve()  # a link stays one
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        kept = _keep(path) if path.exists() else None
        mode = stat.S_IMODE(path.stat().st_mode) if kept is not None else 0o644
        with open(part, "xb") as handle:
            os.fchmod(handle.fileno(), mode)
            handle.write(text.encode())
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(path)
    except OSError as err:
        raise Refusal(f"{path} cannot be written ({err.strerror or err}); it is as it was") from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return kept


def _keep(path: Path) -> Path:
    """A second name for the file as it is, which the new one does not take away. Raises OSError."""
    for number in range(1, MOST_KEPT + 1):
        kept = path.with_name(f"{path.name}.old" if number == 1 else f"{path.name}.old{number}")
        try:
            os.link(path, kept)
        except FileExistsError:
            continue
        except OSError:  # a file system without second names
            with contextlib.suppress(FileExistsError):
                with open(kept, "xb") as handle:
                    handle.write(path.read_bytes())
                kept.chmod(stat.S_IMODE(path.stat().st_mode))
                return kept
            continue
        return kept
    raise OSError(None, f"{MOST_KEPT} old ones are kept already; remove {path.name}.old and the like")
