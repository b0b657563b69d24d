"""Listening at ports and brokers, and judging what comes."""

from __future__ import annotations

import os
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from ...catalogue import part_named
from ...config import MqttSettings, SensorSettings, Settings
from ...decode.lines import visible
from ...decode.naming import Says, says
from ...decode.native import frame_command, parse_command
from ...decode.recognise import Finding, Heard, is_clean, recognise
from ...intake.discover import PortHeard, listen_port, ports
from ...intake.mqtt_discover import listen_broker
from ...intake.mqtt_words import place as broker_place
from .proposal import Place, judged, part_notes

AT_ONCE = 8
ENOUGH_LINES = 6
_OWN_TOPIC = re.compile(r"uvdose/[^/]+/(?:online|state|event|command|answer)|\$SYS/.*")


def at_ports(
    named: list[str] | None, settings: Settings, seconds: float, taken: set[str], held: dict[str, str]
) -> list[Place]:
    """The ports that are named, else all of them; one that the daemon holds is not opened."""
    wanted = [_absolute(p) for p in named] if named else ports()
    wanted = list(dict.fromkeys(wanted))
    free = [p for p in wanted if os.path.realpath(p) not in held]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        heard = dict(zip(free, pool.map(lambda p: _listen(p, seconds), free), strict=True))
    known = {os.path.realpath(s.port): s for s in settings.sensor if s.link == "serial" and s.port}
    return [_port_place(p, heard.get(p), held, known, taken) for p in wanted]


def _absolute(path: str) -> str:
    """A path as it may stand in the settings, wherever the daemon is started; a URL as it is."""
    path = os.path.expanduser(path)
    return os.path.abspath(path) if "://" not in path and os.path.exists(path) else path


def _listen(path: str, seconds: float) -> PortHeard:
    return listen_port(path, seconds, is_text=is_clean, enough=_enough, ask=_question)


def _port_place(
    path: str, heard: PortHeard | None, held: dict[str, str], known: dict[str, SensorSettings], taken: set[str]
) -> Place:
    real = os.path.realpath(path)
    if heard is None:
        line = f"the running daemon has it, as sensor {held[real]}: `uvdose status` shows it"
        return Place("serial", path, "held", line)
    if heard.fault is not None:
        return Place("serial", path, "fault", f"{heard.fault.why}; {heard.fault.mend}")
    who = next((found for _, line in reversed(heard.lines) if (found := _who(line))), "")
    finding = recognise([Heard(at, line) for at, line in heard.lines], who=who)
    if not heard.lines and heard.count:
        finding = Finding(None, f"no line in {heard.count} bytes: noise, or something that does not speak in lines")
    if real in known and finding.form is not None:
        return _known("serial", path, known[real], finding, heard.speed)
    return judged("serial", path, finding, heard.speed, taken)


def _known(link: str, where: str, sensor: SensorSettings, finding: Finding, speed: int | None) -> Place:
    """A sensor that the settings have, with what is known of the part that they name."""
    line = f"in the settings already, as sensor {sensor.name}"
    notes = part_notes(part_named(sensor.part)) if sensor.part is not None else []
    return Place(link, where, "known", line, speed, finding, notes=tuple(notes))


def _enough(lines: list[bytes]) -> bool:
    """Whether it is clear already what comes."""
    if _question(lines) is not None:
        return True
    return len(lines) >= ENOUGH_LINES and is_clean(lines) and _recognised(lines).form is not None


def _question(lines: list[bytes]) -> bytes | None:
    """A native node is asked who it is."""
    return frame_command("who") if _recognised(lines).form == "native" else None


def _recognised(lines: list[bytes]) -> Finding:
    return recognise([Heard(0.0, line) for line in lines])


def _who(line: bytes) -> str:
    text = parse_command(line) or ""
    return text if text.startswith("ok who ") else ""


def at_broker(
    mqtt: MqttSettings, folder: Path, settings: Settings, seconds: float, taken: set[str]
) -> list[Place]:
    """The topics that look like UV, and one line on the others."""
    heard = listen_broker(mqtt, folder, seconds)
    where = broker_place(mqtt)
    if heard.fault is not None:
        return [Place("mqtt", where, "fault", f"{heard.fault.why}; {heard.fault.mend}")]
    known = {s.topic: s for s in settings.sensor if s.link == "mqtt" and s.topic}
    places, others = [], []
    for topic, messages in heard.topics.items():
        if _OWN_TOPIC.fullmatch(topic) or topic.endswith("/answer"):
            continue
        answers = heard.topics.get(f"{topic.removesuffix('/reading')}/answer", [])
        who = next((told for _, answer in answers if (told := _who(answer))), "")
        finding = recognise([Heard(at, m) for at, m in messages], context=topic, who=who, least=1)
        base = topic.removesuffix("/reading") if finding.form == "native" else topic
        if base in known:
            places.append(_known("mqtt", base, known[base], finding, None))
        elif finding.form is not None and finding.says_uv:
            places.append(judged("mqtt", base, finding, None, taken))
        elif finding.says_uv or says(topic) not in (Says.NOTHING, Says.OTHER):
            places.append(judged("mqtt", base, _as_unsure(finding), None, taken))
        else:
            others.append(topic)
    rest = _rest(len(heard.topics), others, heard.kept, heard.left_out)
    return [*places, Place("mqtt", where, "unsure", rest)] if not places or others else places


def _as_unsure(finding: Finding) -> Finding:
    return finding if finding.form is None else Finding(None, "nothing says that this is UV", example=finding.example)


def _rest(heard: int, others: list[str], kept: list[str], left_out: int) -> str:
    if not heard:
        more = f"; {len(kept)} topics have a kept message alone, which says nothing of now" if kept else ""
        return f"nothing was published while it was listened{more}; give it --seconds"
    shown = ", ".join(visible(topic[:40]) for topic in others[:5])
    shown += f" and {len(others) - 5} more" if len(others) > 5 else ""
    more = f"; {left_out} and more topics were left out" if left_out else ""
    return f"not UV by name or by unit: {shown}{more}" if others else f"nothing else{more}"
