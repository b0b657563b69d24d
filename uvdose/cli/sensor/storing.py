"""A figure of a sensor stored: in the settings, as a note, in the running daemon; and what it voids."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...config import Home
    from ...notes import Doc
    from .gather import Bench


def store(bench: Bench, name: str, changes: Mapping[str, float], note: Doc, as_json: bool) -> None:
    """Keep keys of a sensor and the note that tells how they were found, and say what follows. Raises `Refusal`."""
    from ...notes import kind_name
    from ...review.layout import wrap
    from ...settings_edit import edit_sensor
    from ..keeping import keep_note
    from ..show import print_json, say

    edit_sensor(bench.place, name, changes)
    keep_note(bench.place, kind_name(type(note)), name, note)
    taken = _take_at_once(bench)
    if as_json:
        print_json(note)
        return
    say("\n".join(wrap(f"stored; {taken}")))
    for line in _voided(bench.place, name):
        say(line)


def _take_at_once(bench: Bench) -> str:
    """Have the daemon read the settings anew; says what it took."""
    from ...messages import SettingsTaken

    told: SettingsTaken = bench.daemon.post("settings/reread", {}, SettingsTaken)
    if not told.taken:
        return "the daemon has these figures already"
    later = f"; what else has changed ({', '.join(told.later)}) waits for its next start" if told.later else ""
    return f"the daemon goes by it from now on; prints in the light keep what they began with{later}"


def _voided(place: Home, sensor: str) -> list[str]:
    """What to say of targets that a sensor's change has voided."""
    from ...exposure.target import void_for
    from ..asking import journal
    from ..keeping import identities_now

    with journal(place) as store:
        sensors = identities_now(place, store)
        bound = [t for t in store.targets() if t.identity is not None and t.identity.name == sensor]
        names = [target.name for target in bound if void_for(target, sensors)]
    if not names:
        return []
    return [f"void with it, until you confirm them or make a calibration print: {', '.join(names)}"
            f" (`uvdose target show {names[0]}` says why)"]  # fmt: skip
