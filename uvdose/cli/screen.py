"""The bench on a terminal: the table of `status`, and the lines of `watch`."""

from __future__ import annotations

from ..exposure.states import UNHEARD, state_word
from ..messages import ExposureDoc, SensorDoc, StatusDoc
from ..review.layout import alarm_words, columns, figure, shorten, time_of, unit_text, with_unit, wrap
from ..units import minutes, percent, span_words
from .given import hinted

BAR = 44
LEAST_BAR, BESIDE_BAR = 8, 36  # what stands beside the bar must fit, too
FULL, LIGHTER, EMPTY, MARK = "█", "▓", "░", "┃"
MOST = 1.25  # a bar shows up to this share of the target
ENDED = ("finished", "void")
Styled = tuple[str, str]  # a line, and how it is to look: "", strong, alarm, graph or hint
CALL_WORDS = {"look": "LOOK", "lead": "SOON", "reached": "ENOUGH: TAKE IT IN", "overshoot": "TOO LONG"}


def dose_bar(fraction: float, width: int = BAR) -> str:
    """A dose as a bar with the target's mark; what lies past the mark is drawn lighter."""
    mark = round(width / MOST)
    filled = min(width, max(0, int(fraction * mark + 1e-9)))
    cells = [FULL if i < min(filled, mark) else LIGHTER if i < filled else EMPTY for i in range(width)]
    return "".join([*cells[:mark], MARK, *cells[mark:]])


def call_words(calls: list[str]) -> str:
    """Present calls in words."""
    return ", ".join(CALL_WORDS.get(key.partition(":")[0], key) for key in calls)


def left_words(d: ExposureDoc) -> str:
    """How long it will take at the light of now, or why that is not told."""
    if d.state in ("reached", *ENDED):
        return state_word(d)
    if d.not_today:
        return _not_today(d)
    if d.eta_s is None:
        return "time left unknown while silent" if d.state == "counting" and UNHEARD & set(d.alarms) else d.state
    return f"{_range_words(d)} left"


def _not_today(d: ExposureDoc) -> str:
    if d.eta_low_s is None:
        return "the sun will not finish this today"
    return f"{minutes(d.eta_low_s)} at the least; the sun may not finish this today"


def _range_words(d: ExposureDoc) -> str:
    """The range where there is one, else the median."""
    if d.eta_low_s is None:
        return minutes(d.eta_s)
    return f"from {minutes(d.eta_low_s)}" if d.eta_high_s is None else span_words(d.eta_low_s, d.eta_high_s)


def sensor_line(s: SensorDoc) -> str:
    """One sensor now, without its alarms."""
    heard = f"{with_unit(s.irradiance, s.unit)}, {figure(s.age_s)} s ago"
    told = "no reading yet" if s.irradiance is None else heard
    return f"{shorten(s.name, 16)}  {s.state.upper() if s.state != 'live' else 'live'}  {told}"


def exposure_line(d: ExposureDoc) -> str:
    """One exposure in one line, for output that is no terminal."""
    words = [alarm_words(a) for a in d.alarms] + ([f"CALL: {call_words(d.calls)}"] if d.calls else [])
    tail = f"  {'  '.join(words)}" if words else ""
    return (
        f"{d.id}  {dose_bar(d.fraction, 30)} {percent(d.fraction):>5}  {figure(d.dose)} of"
        f" {with_unit(d.target_dose, d.unit)}  {left_words(d)}{tail}"
    )


def exposure_lines(d: ExposureDoc, width: int) -> list[tuple[str, str]]:
    """One exposure for the live screen: lines with a style each (`""`, `strong`, `alarm`)."""
    bar = dose_bar(d.fraction, max(LEAST_BAR, min(BAR, width - BESIDE_BAR)))
    label = f"  {d.label}" if d.label else ""
    lines = [
        (f"{d.id}{label}  frame {d.frame}  {d.title}  {d.state}", "strong"),
        (f"  {bar} {percent(d.fraction):>5}  {left_words(d)}", ""),
        (f"  {with_unit(d.dose, d.unit)} ({figure(d.dose_low)}-{figure(d.dose_high)}) of {figure(d.target_dose)}", ""),
    ]
    if d.missing_s or d.bridged_s:
        hole = f"  {minutes(d.bridged_s)} bridged, {minutes(d.missing_s)} not measured"
        lines.append((f"{hole} (about {with_unit(d.missing_dose, d.unit)} more)" if d.missing_s else hole, "strong"))
    if d.armed:
        lines.append(("  its node is armed: it will call by itself, too", ""))
    lines += [(f"  {alarm_words(alarm)}", "alarm") for alarm in d.alarms]
    if d.calls:
        lines.append((f"  {call_words(d.calls)}", "alarm"))
    return lines


def live_lines(
    status: StatusDoc, width: int, shown: list[ExposureDoc] | None = None, graphs: dict[str, list[str]] | None = None,
    steps: dict[int, Styled] | None = None, about: int | None = None,
) -> list[Styled]:
    """The whole live screen, wrapped to so many columns: advice that is cut is none.

    shown: the exposures, else those that run. graphs: lines by sensor, never wrapped. steps: what comes next, by
    exposure. about: the one that keys are about; where there are several, each has the number of its key.
    """
    lines = [(f"{status.bench}  {time_of(status.utc)}", "")]
    lines += [(line, "alarm") for line in status.troubles]
    for s in status.sensors:
        lines.append((sensor_line(s), "alarm" if s.alarms else ""))
        lines += [(line, "graph") for line in (graphs or {}).get(s.name, [])]
        lines += [(f"  {line}", "alarm") for line in s.alarms]
        lines += [(f"  {s.unarmed}", "")] if s.unarmed else []
    running = [d for d in status.exposures if d.state not in ENDED] if shown is None else shown
    for number, d in enumerate(running, 1):
        first, *rest = exposure_lines(d, width)
        if about is not None and len(running) > 1:
            first = f"{'>' if d.id == about else ' '}{number}  {first[0]}", first[1]
        lines += [("", ""), first, *rest]
        if steps is not None and d.id in steps:
            words, style = steps[d.id]
            lines.append((f"  {words}", style))
    if not running:
        lines += [("", ""), ("nothing is in the light; `uvdose expose TARGET` begins", "")]
    return [(part, style) for line, style in lines
            for part in ([line] if style == "graph" else _wrapped(hinted(line), width))]  # fmt: skip


def fitted(top: list[Styled], foot: list[Styled], width: int, height: int) -> list[Styled]:
    """As many lines as the screen has: graphs give way first, then what is lowest; the foot with its keys stays."""
    foot = [(part, style) for line, style in foot if line for part in _wrapped(hinted(line), width)]
    room = max(1, height - len(foot) - 1)
    if len(top) > room:
        top = [line for line in top if line[1] != "graph"]
    if len(top) > room:
        top = [*top[: room - 1], ("… more than fits: make the window higher", "strong")]
    return [*top, ("", ""), *foot][-height:]


def _wrapped(line: str, width: int) -> list[str]:
    if len(line) <= width:
        return [line]
    indent = " " * (len(line) - len(line.lstrip()))
    return wrap(line.lstrip(), indent, width=max(LEAST_BAR, width))


def plain_lines(status: StatusDoc, last: int | None = None) -> list[str]:
    """The bench in plain lines; `last`: an exposure whose end is waited for, and shown too."""
    shown = [d for d in status.exposures if d.state not in ENDED or d.id == last]
    return [*status.troubles, *map(_with_alarms, status.sensors), *map(exposure_line, shown)]


def _with_alarms(s: SensorDoc) -> str:
    return "  ".join([sensor_line(s), *(["; ".join(s.alarms)] if s.alarms else [])])


def status_text(status: StatusDoc) -> str:
    """The table of `status`."""
    lines = [f"bench {status.bench}, {time_of(status.utc)}", *status.troubles, ""]
    rows = [["sensor", "state", "irradiance", "unit", "age", "readings"]]
    rows += [
        [s.name, s.state, figure(s.irradiance), unit_text(s.unit), "-" if s.age_s is None else f"{figure(s.age_s)} s",
         str(s.readings)]
        for s in status.sensors
    ]
    lines += columns(rows, right=(2, 4, 5))
    lines += [f"  {s.name}: {line}" for s in status.sensors for line in [*s.alarms, s.unarmed] if line]
    lines += [
        f"  {s.name}: {s.bad_inputs} lines could not be read, the last: {s.last_bad}"
        for s in status.sensors if s.bad_inputs
    ]
    if not status.exposures:
        return "\n".join([*lines, "", "no exposures today"])
    table = [["id", "label", "frame", "target", "state", "dose", "of", "unit", "done", "left"]]
    table += [
        [str(d.id), shorten(d.label or "-", 10), d.frame, d.title, state_word(d), figure(d.dose),
         figure(d.target_dose), unit_text(d.unit), percent(d.fraction),
         "not today" if d.not_today else _range_words(d) if d.eta_s is not None or not UNHEARD & set(d.alarms)
         else "unknown"]
        for d in status.exposures
    ]
    head, *rows_of = columns(table, right=(0, 5, 6, 8, 9))
    lines += ["", head]
    for d, row in zip(status.exposures, rows_of, strict=True):
        beside = [*map(alarm_words, d.alarms), *([f"CALL: {call_words(d.calls)}"] if d.calls else []),
                  *(["node armed"] if d.armed else [])]  # fmt: skip
        lines += [row, *([f"    {'; '.join(beside)}"] if beside else [])]
    return "\n".join(lines)
