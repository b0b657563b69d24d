"""Changing `uvdose.toml` for the person: their order, comments and line ends stay, and the file is whole at any moment.

What comes of a change is parsed as a daemon would parse it before it takes the file's place, so that no command can
leave settings behind that nothing starts with. The file as it was before lies beside it as `uvdose.toml.old`.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import re
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, InlineTable, Table

from .config import Home, SensorSettings, Settings, load_settings, parse_settings
from .model import Refusal

Value = str | int | float | bool
_SENSOR_HEAD = re.compile(r"[ \t]*\[\[[ \t]*sensor[ \t]*\]\]")
_ANY_HEAD = re.compile(r"[ \t]*\[")


def edit_sensor(home: Home, name: str, changes: Mapping[str, Value | None]) -> Settings:
    """Set keys of one sensor; None takes a key away. Returns the settings as they are now. Raises `Refusal`.

    A key that is there keeps its place and the comment behind it; a new one comes after the sensor's last.
    """
    with _one_at_a_time(home):
        return _edit(home, name, changes)


def _edit(home: Home, name: str, changes: Mapping[str, Value | None]) -> Settings:
    sensor_in(load_settings(home), name)
    text = _read(home)
    try:
        document = tomlkit.parse(text)
        _set(_block(document, name), changes, _line_end(text))
        fresh = document.as_string()
    except (TOMLKitError, TypeError, ValueError) as err:
        raise Refusal(f"{home.settings_file} cannot be changed ({err}): set {_told(changes)} by hand") from None
    wanted = tomllib.loads(text)
    block = next(s for s in wanted["sensor"] if s["name"] == name)
    for key, value in changes.items():
        if value is None:
            block.pop(key, None)
        else:
            block[key] = value
    return _replace(home, text, fresh, wanted, f"set {_told(changes)} for sensor {name}")


def append_sensor(home: Home, block: str) -> Settings:
    """Add what is written in TOML: one [[sensor]] block, with an [mqtt] block where it needs one and there is none.

    It comes after the last sensor. A home without settings gets them. Returns the settings as they are now. Raises
    `Refusal`: for a name that is taken, and for whatever a daemon would refuse.
    """
    with _one_at_a_time(home):
        return _append(home, block)


def _append(home: Home, block: str) -> Settings:
    block = block.strip("\r\n") + "\n"
    try:
        added = tomllib.loads(block)
    except tomllib.TOMLDecodeError as err:
        raise Refusal(f"the new sensor is not valid TOML: {err}", 2) from None
    try:
        text = _read(home) if home.settings_file.exists() else ""
        wanted = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise Refusal(f"{home.settings_file}: not valid TOML: {err}") from None
    listed = wanted.get("sensor", [])
    if not isinstance(listed, list):
        raise Refusal(f"{home.settings_file}: sensor: expected a list, written [[sensor]]")
    for key, value in added.items():
        if key == "sensor":
            wanted["sensor"] = [*listed, *value]
        elif key in wanted:
            raise Refusal(f"{home.settings_file}: [{key}] is there already; leave it out of the new sensor's block")
        else:
            wanted[key] = value
    for place in _places(text):
        fresh = _inserted(text, place, block)
        with contextlib.suppress(tomllib.TOMLDecodeError):
            if tomllib.loads(fresh) == wanted:
                return _replace(home, text, fresh, wanted, "add the new sensor")
    raise Refusal(f"{home.settings_file}: no place for a [[sensor]] block is found: add it by hand")


def sensor_in(settings: Settings, name: str | None) -> SensorSettings:
    """The sensor named, else the only one. Raises `Refusal` (code 2)."""
    known = ", ".join(sensor.name for sensor in settings.sensor)
    if name is None and len(settings.sensor) > 1:
        raise Refusal(f"which sensor? name one: {known}", 2)
    found = next((sensor for sensor in settings.sensor if name in (None, sensor.name)), None)
    if found is None:
        raise Refusal(f"no sensor {name or ''!r} in the settings; there is {known}", 2)
    return found


@contextlib.contextmanager
def _one_at_a_time(home: Home) -> Iterator[None]:
    """From reading to replacing no other command writes: of two that read the same one's change would be lost.

    The file is locked, and looked at once more, since it is another one after each change; the folder only where there
    is no file yet, since a daemon keeps its folder locked. An editor knows nothing of it.
    """
    with contextlib.ExitStack() as stack:
        with contextlib.suppress(OSError):  # no folder yet, or a file system without locks
            path = home.settings_file.resolve()
            while not _lock(path if path.exists() else path.parent, path, stack):
                pass
        yield


def _lock(place: Path, path: Path, stack: contextlib.ExitStack) -> bool:
    """Wait for a lock; whether what it locks is still what it was taken for."""
    with contextlib.ExitStack() as one:
        handle = os.open(place, os.O_RDONLY | os.O_NONBLOCK)
        one.callback(os.close, handle)
        fcntl.flock(handle, fcntl.LOCK_EX)
        if path.exists() != (place == path) or not os.path.samestat(os.fstat(handle), os.stat(place)):
            return False
        stack.push(one.pop_all())
    return True


def _block(document: tomlkit.TOMLDocument, name: str) -> Table | InlineTable:
    listed: Any = document["sensor"]
    if isinstance(listed, AoT | Array):
        for block in listed:
            if isinstance(block, Table | InlineTable) and block.get("name") == name:
                return block
    raise ValueError("its sensors are written in an unusual way")


def _set(block: Table | InlineTable, changes: Mapping[str, Value | None], line_end: str) -> None:
    for key, value in changes.items():
        if value is None:
            block.pop(key, None)
        elif key in block or isinstance(block, InlineTable):
            block[key] = value
        else:
            # What follows the last key (an empty line, the comment over the next block) stays behind the new one.
            body = block.value.body
            end = max(i for i, (k, _) in enumerate(body) if k is not None) + 1
            tail, body[end:] = body[end:], []
            item = tomlkit.item(value)
            item.trivia.trail = line_end
            block.add(key, item)
            body.extend(tail)


def _places(text: str) -> list[int]:
    """Where a block may go: after the last sensor's, before what is said over the next one; else at the end."""
    lines = text.splitlines(keepends=True)
    heads = [i for i, line in enumerate(lines) if _SENSOR_HEAD.match(line)]
    if not heads:
        return [len(text)]
    end = next((i for i in range(heads[-1] + 1, len(lines)) if _ANY_HEAD.match(lines[i])), len(lines))
    while end > heads[-1] + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
        end -= 1
    return [sum(map(len, lines[:end])), len(text)]


def _inserted(text: str, place: int, block: str) -> str:
    line_end = _line_end(text)
    before, after = text[:place], text[place:]
    if before and not before.endswith("\n"):
        before += line_end
    gap = line_end if before.strip() and not before.endswith(line_end * 2) else ""
    behind = line_end if after and not after.startswith(("\n", "\r\n")) else ""
    return before + gap + block.replace("\r\n", "\n").replace("\n", line_end) + behind + after


def _line_end(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _told(changes: Mapping[str, Value | None]) -> str:
    return ", ".join(f"{key} = {tomlkit.item(value).as_string()}" if value is not None else f"no {key}"
                     for key, value in changes.items())


def _read(home: Home) -> str:
    try:
        return home.settings_file.read_bytes().decode("utf-8")  # line ends as they are
    except (OSError, UnicodeDecodeError) as err:
        raise Refusal(f"{home.settings_file}: cannot be read ({err}); it must be a readable UTF-8 text file") from None


def _replace(home: Home, old: str, fresh: str, wanted: dict[str, Any], by_hand: str) -> Settings:
    """Put the new text in the file's place, if it says what was meant and the file is still the one that was read."""
    path = home.settings_file
    settings = parse_settings(fresh, str(path))
    if tomllib.loads(fresh) != wanted:
        raise Refusal(f"{path} is written in a way that cannot be changed safely: {by_hand} by hand")
    real = path.resolve()  # where it is a link, the link stays and what it names is replaced
    try:
        if not old and not path.exists():
            real.parent.mkdir(parents=True, exist_ok=True)
        elif not (real.stat().st_mode & 0o222 and os.access(real, os.W_OK)):
            raise Refusal(f"{path} is read-only, and nothing was changed: make it writable (`chmod u+w`), or {by_hand}")
        elif _read(home) != old:
            raise Refusal(f"{path} was changed by somebody else at the same moment: do it again")
        else:
            _write(path.with_name(path.name + ".old"), old, real)
        _write(real, fresh, real)
    except OSError as err:
        fault = f"{path} cannot be written ({err.strerror}), and nothing was changed"
        raise Refusal(f"{fault}: {by_hand} by hand") from None
    return settings


def _write(path: Path, text: str, like: Path) -> None:
    """A file, whole or not at all, on disk when this returns, with the rights of another. Raises OSError."""
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(descriptor, "wb") as handle:
            handle.write(text.encode("utf-8"))
            with contextlib.suppress(FileNotFoundError, PermissionError):
                was = like.stat()
                os.fchmod(handle.fileno(), was.st_mode & 0o7777)
                os.fchown(handle.fileno(), was.st_uid, was.st_gid)
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise
    with contextlib.suppress(OSError):  # a file system that cannot is no reason to say that it failed
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
